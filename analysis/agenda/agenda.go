// Package agenda says what is still open in a car's visit, from what its sessions have shown. It
// is pure.
package agenda

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// Session is what one session of a visit has shown.
type Session struct {
	Sensor  string // B1S1: that was watched
	By      analysis.By
	Wide    bool // a wide-range sensor, or one that may be: its wire is never forced
	Verdict analysis.Verdict
	Map     bool // its trims fill the map: leak, supply and scale are told apart or cannot be
	Trims   Trims
	Has     []string // the sensors of the car as it told them: B1S1, B1S2, …
}

// Trims is what the trims of a session say of the engine.
type Trims uint8

const (
	TrimsOpen   Trims = iota // too little was driven, or nothing clear
	TrimsSound               // usual wherever it was driven, and that was enough
	SoundAtIdle              // usual where it was driven, which was little more than idle
	TrimsOff                 // they point to a fault
	OffAtIdle                // to one that shows at low air flow
)

// Work is a piece of work that a visit may need.
type Work string

// The pieces, in the order in which they are done.
const (
	Look    Work = "look"    // ask the car which sensors it has
	Fitting Work = "fitting" // find the signal wire and connect to it
	Wire    Work = "wire"    // force the signal wire lean and rich
	Mixture Work = "mixture" // force the mixture itself: the sensor is to follow
	Drive   Work = "drive"   // fuel cuts and full load for the sensor behind the catalyst
	Again   Work = "again"   // repair what was found, then test again
	Map     Work = "map"     // the drive that fills the trim map
	Leak    Work = "leak"    // repair what the map points to, then look at the trims again
)

// lasts is how long each takes, the repair left out: common practice, no source.
var lasts = map[Work]time.Duration{
	Look: time.Minute, Fitting: 10 * time.Minute, Wire: 5 * time.Minute, Mixture: 5 * time.Minute, Drive: 10 * time.Minute, Again: 5 * time.Minute, Map: 15 * time.Minute, Leak: 15 * time.Minute,
}

// Item is one piece of work that is open.
type Item struct {
	Work    Work
	Sensor  string        // "" of the map
	Lasts   time.Duration // about; of Again without the repair
	Because []analysis.ProofID
}

// Open lists what is open after sessions, in order of time.
//
// A proof counts as shown once any session of its sensor has proven or failed it, but only since
// the last one that found a fault before it: what was repaired has to be shown again. Has are
// the sensors that the car is known to have beside what the sessions tell. Special cases are: where nothing is known of them, the
// work of B1S1 is open, and to ask the car; a fault stays one until a session decides otherwise; a bank that the car has counts, tested
// or not, and its sensor as of the kind of the others; a step that a session asks for is no
// work of its own, since the proof that it settles is open; the wire of a wide-range sensor is no work, the mixture shows all.
func Open(sessions []Session, has []string) (out []Item) {
	var sensors []string
	mapped := false
	for _, s := range has {
		if strings.HasSuffix(s, "S1") && !slices.Contains(sensors, s) {
			sensors = append(sensors, s)
		}
	}
	for _, s := range sessions {
		mapped = mapped || s.Map
		for _, sensor := range append([]string{s.Sensor}, s.Has...) {
			if !slices.Contains(sensors, sensor) && (sensor == s.Sensor || strings.HasSuffix(sensor, "S1")) {
				sensors = append(sensors, sensor)
			}
		}
	}
	if len(sensors) == 0 {
		sensors = []string{"B1S1"}
		out = append(out, Item{Work: Look, Lasts: lasts[Look]})
	}
	slices.SortFunc(sensors, cmp.Compare[string])
	for _, sensor := range sensors {
		out = append(out, openOf(sensor, sessions)...)
	}
	switch off := offAtEnd(sessions); {
	case !mapped:
		out = append(out, Item{Work: Map, Lasts: lasts[Map]})
	case off == OffAtIdle: // idle shows whether it is gone
		out = append(out, Item{Work: Leak, Lasts: lasts[Again]})
	case off == TrimsOff:
		out = append(out, Item{Work: Leak, Lasts: lasts[Leak]})
	}
	return out
}

// offAtEnd is what the trims still point to after the last session that told.
func offAtEnd(sessions []Session) (off Trims) {
	for _, s := range sessions {
		switch {
		case s.Trims >= TrimsOff:
			off = s.Trims
		case s.Trims == TrimsSound, s.Trims == SoundAtIdle && off == OffAtIdle:
			off = TrimsOpen
		}
	}
	return off
}

func openOf(sensor string, sessions []Session) (out []Item) {
	shown := make(map[analysis.ProofID]bool)
	fitted, faulty, wide, driven := false, false, false, false
	tested := slices.ContainsFunc(sessions, func(s Session) bool { return s.Sensor == sensor })
	for _, s := range sessions {
		wide = wide || s.Wide && (s.Sensor == sensor || !tested)
		driven = driven || s.Sensor == sensor && s.By == analysis.ByFuelCut && !strings.HasSuffix(sensor, "S1")
		if s.Sensor != sensor || s.Verdict.Conclusion == analysis.NothingForced ||
			faulty && (s.Verdict.Conclusion == analysis.ConclusionUnclear || s.Verdict.Conclusion == analysis.ConclusionNotReady) {
			continue
		}
		if faulty {
			clear(shown)
		}
		fitted = fitted || s.By == analysis.ByWire || s.By == ""
		faulty = Fault(s.Verdict.Conclusion)
		for _, p := range s.Verdict.Proofs {
			if p.State == analysis.Proven || p.State == analysis.Failed {
				shown[p.ID] = true
			}
		}
	}
	add := func(w Work, because ...analysis.ProofID) {
		out = append(out, Item{Work: w, Sensor: sensor, Lasts: lasts[w], Because: because})
	}
	missing := func(of ...analysis.ProofID) []analysis.ProofID {
		return slices.DeleteFunc(of, func(p analysis.ProofID) bool { return shown[p] })
	}
	if faulty {
		add(Again)
		return out
	}
	if driven { // behind the catalyst, and no trim comes of it
		if open := missing(analysis.ProofSensorRich, analysis.ProofSensorLean); len(open) > 0 {
			add(Drive, open...)
		}
		return out
	}
	if wide {
		if open := missing(analysis.ProofAddsFuel, analysis.ProofCutsFuel, analysis.ProofSensorRich, analysis.ProofSensorLean); len(open) > 0 {
			add(Mixture, open...)
		}
		return out
	}
	if open := missing(analysis.ProofAddsFuel, analysis.ProofCutsFuel); len(open) > 0 {
		if !fitted {
			add(Fitting)
		}
		add(Wire, open...)
	}
	if open := missing(analysis.ProofSensorRich, analysis.ProofSensorLean); len(open) > 0 {
		add(Mixture, open...)
	}
	return out
}

const hasPrefix = "the car has sensors "

// Told is the entry of a visit that keeps which sensors the car told of; "" where it told of none.
func Told(sensors []string) string {
	if len(sensors) == 0 {
		return ""
	}
	return hasPrefix + strings.Join(sensors, " ")
}

// Has are the sensors that a visit's entries tell of, see [Told].
func Has(entries []string) (out []string) {
	for _, e := range entries {
		list, is := strings.CutPrefix(e, hasPrefix)
		if !is {
			continue
		}
		for _, s := range strings.Fields(list) {
			if id, err := decode.ParseSensorID(s); err == nil && !slices.Contains(out, id.String()) {
				out = append(out, id.String())
			}
		}
	}
	return out
}

// Fault reports whether a conclusion names something to be repaired.
func Fault(c analysis.Conclusion) bool {
	switch c {
	case analysis.InputDead, analysis.NoCommand, analysis.NoDelivery, analysis.SensorDead, analysis.SensorSlow, analysis.SensorSkewed, analysis.WrongBank:
		return true
	}
	return false
}
