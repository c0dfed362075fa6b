package trimmap

import (
	"math"
	"slices"

	"pushback/analysis/reason"
	"pushback/analysis/stats"
)

// Pattern is the shape of a bank's trims over air flow.
type Pattern string

const (
	NoData      Pattern = "no_data"        // too few readings to say anything
	Normal      Pattern = "normal"         // within the usual band wherever it was driven
	AddsAtIdle  Pattern = "adds_at_idle"   // adds at low flow, less with more: a constant amount of air too much
	AddsAtLoad  Pattern = "adds_at_load"   // adds the more, the more flows: supply runs out
	AddsAll     Pattern = "adds_all"       // adds everywhere alike: scale
	CutsAtIdle  Pattern = "cuts_at_idle"   // cuts at low flow, less with more: a constant amount of fuel too much
	CutsAtLoad  Pattern = "cuts_at_load"   // cuts the more, the more flows
	CutsAll     Pattern = "cuts_all"       // cuts everywhere alike
	AddsSomehow Pattern = "adds_unclear"   // adds too much, but over what flow is not shown
	CutsSomehow Pattern = "cuts_unclear"   // cuts too much, the same
	TurnsToCuts Pattern = "adds_then_cuts" // adds at low flow, cuts at high: air comes in, then gets lost
	Undecided   Pattern = "undecided"      // the readings scatter too much, or contradict each other
)

// The usual bands of total trim, % (trade articles: ±8 acceptable, ±10 to be looked
// into; ±5 elsewhere. No standard gives one).
const (
	Usual   = 8.0
	suspect = 10.0
	shape   = 5.0 // % that trim must fall or rise over the range to be called a shape (our own)
)

// Result is what one bank's map says.
type Result struct {
	Bank    int
	Cells   []Cell
	Fit     Fit
	Pattern Pattern
	Says    reason.Reason   // the pattern with its numbers
	Points  []reason.Reason // what it points to, the likeliest and cheapest to look at first
	Limits  []reason.Reason // what the data do not show
	Idle    *Idle           // nil: not read twice
	Purge   *Purge          // nil: not read with the purge valve open and shut
}

// judge names the pattern of a fit.
func judge(f Fit) Pattern {
	if f.Model == NoModel {
		return NoData
	}
	// Too much is said where the estimate is beyond the band and its interval beyond half of it.
	beyond := func(i Interval) int {
		switch {
		case i.Value > Usual && i.Lo > Usual/2:
			return 1
		case i.Value < -Usual && i.Hi < -Usual/2:
			return -1
		}
		return 0
	}
	within := func(i Interval) bool { return math.Abs(i.Value) <= Usual && i.Hi-i.Lo <= 2*Usual }
	low, mid, high := beyond(f.AtLow), beyond(f.AtMid), beyond(f.AtHigh)
	falls := f.Falls.Sign()
	if math.Abs(f.Falls.Value) < shape {
		falls = 0
	}
	if f.Model == LevelOnly {
		switch {
		case mid > 0:
			return AddsSomehow
		case mid < 0:
			return CutsSomehow
		case within(f.AtMid):
			return Normal
		}
		return Undecided
	}
	flat := falls == 0 && f.Falls.Hi-f.Falls.Lo <= 2*shape
	switch {
	case low > 0 && high < 0:
		return TurnsToCuts
	case low < 0 && high > 0:
		return Undecided
	case low > 0 && falls > 0:
		return AddsAtIdle
	case high > 0 && falls < 0:
		return AddsAtLoad
	case low < 0 && falls < 0:
		return CutsAtIdle
	case high < 0 && falls > 0:
		return CutsAtLoad
	case low+mid+high > 0 && flat:
		return AddsAll
	case low+mid+high < 0 && flat:
		return CutsAll
	case low+mid+high > 0:
		return AddsSomehow
	case low+mid+high < 0:
		return CutsSomehow
	case within(f.AtLow) && within(f.AtMid) && within(f.AtHigh):
		return Normal
	}
	return Undecided
}

// points is the one table from a pattern to what it points to (trade practice; the
// rows for vacuum leak and supply as in trade articles, the others common practice).
func points(p Pattern, flow Flow, both, two bool) []reason.Reason {
	bank := reason.ThisBank
	if both {
		bank = reason.AllBanks
	}
	var out []reason.Reason
	if two && (p != Normal && p != NoData && p != Undecided) {
		out = append(out, bank.Of())
	}
	add := func(codes ...reason.Code) {
		for _, c := range codes {
			out = append(out, c.Of())
		}
	}
	switch p {
	case AddsAtIdle:
		if flow == SpeedDensity || flow == ByLoad {
			add(reason.HasItMAF)
		}
		add(reason.VacuumLeak,
			reason.ExhaustLeak,
			reason.MisfireAtIdle)
	case AddsAtLoad:
		add(reason.WeakSupply,
			reason.MAFLow,
			reason.RestrictedInjectors)
	case AddsAll:
		add(reason.AirSensorLow, reason.LowPressure,
			reason.MoreEthanol, reason.FalselyLean)
	case CutsAtIdle:
		add(reason.LeakingInjector, reason.ClosePurge,
			reason.FuelInOil, reason.LeakingRegulator)
	case TurnsToCuts:
		add(reason.BoostLeak, reason.MAFBothWays)
	case CutsAtLoad:
		add(reason.BoostLost, reason.MAFHighAtLoad, reason.PressureRises)
	case CutsAll:
		add(reason.PressureHigh, reason.MAFHigh, reason.Purge, reason.FalselyRich)
	case AddsSomehow:
		add(reason.AddsOpen)
	case CutsSomehow:
		add(reason.CutsOpen)
	}
	return out
}

// says is a pattern with its numbers.
func says(p Pattern, f Fit, unit string) reason.Reason {
	code, known := patternCodes[p]
	switch {
	case !known:
		code = reason.NoPattern
	case p == NoData:
		return code.Of()
	}
	ends := reason.TrimAtFlow.Of(f.AtLow.Value, f.Low, unit).And(reason.AndAtFlow, f.AtHigh.Value, f.High, unit)
	if f.Model == LevelOnly {
		ends = reason.TrimAtFlow.Of(f.AtMid.Value, f.Mid, unit)
	}
	return code.Of(ends)
}

var patternCodes = map[Pattern]reason.Code{
	NoData: reason.NoUsableTrims, Normal: reason.TrimsNormal, AddsAtIdle: reason.AddsAtIdle, AddsAtLoad: reason.AddsAtLoad, AddsAll: reason.AddsAll,
	CutsAtIdle: reason.CutsAtIdle, CutsAtLoad: reason.CutsAtLoad, CutsAll: reason.CutsAll, AddsSomehow: reason.AddsSomehow, CutsSomehow: reason.CutsSomehow,
	TurnsToCuts: reason.TurnsToCuts,
}

// condition is one way to run the engine.
type condition struct {
	name         string // for other programs
	what         reason.Code
	speed, share float64 // rpm, % load
}

// conditions spread over what a petrol engine draws, the cheapest first; the load
// figures are usual ones. No two of them lie newFlow apart, lest noise decide whether one stands for the other.
var conditions = []condition{
	{"map_idle", reason.DriveIdle, 800, 25},
	{"map_1500", reason.Drive1500, 1500, 20},
	{"map_2500", reason.Drive2500, 2500, 20},
	{"map_cruise", reason.DriveCruise, 2000, 50},
	{"map_pull", reason.DrivePull, 2750, 78},
}

// idleAgain comes last: some computers learn an idle term that no trim shows.
var idleAgain = condition{"map_idle_again", reason.DriveIdleAgain, 800, 25}

// newFlow is how far, as a factor, an air flow must be from all that was driven to
// tell something new.
const newFlow = 1.8

// nextCondition returns the first condition, the cheapest first, whose air flow is well away from
// all that was driven, and how many readings, a second apart at least, are near it already; false where there is none left.
func nextCondition(d Data, bank int) (condition, int, bool) {
	var scale stats.Tally // from speed × load to air flow
	for r := range d.Readings {
		if r.Bank == bank && r.Flow > 0 && r.RPM*r.Load > 0 {
			scale.Add(r.Flow / (r.RPM * r.Load))
		}
	}
	if scale.Len() < fewest {
		return conditions[0], 0, true
	}
	k := scale.Quantile(0.5)
	for _, c := range conditions {
		flow := c.speed * c.share * k
		near, last := 0, math.Inf(-1)
		for r := range d.Readings {
			// One a second counts, as in the fit: a fast bus reads the same many times.
			if r.Bank == bank && flow/newFlow < r.Flow && r.Flow < flow*newFlow && r.At >= last+1 {
				last = r.At
				if near++; near == perThird {
					break
				}
			}
		}
		if near < perThird {
			return c, near, true
		}
	}
	return condition{}, 0, false
}

// Map is what a session's trims say.
type Map struct {
	Data
	Banks  []Result
	Pair   *Pair           // what two banks say together that neither says alone; nil: nothing
	Next   reason.Reason   // the condition to drive next; nil none
	Limits []reason.Reason // of the whole session
}

// gathered is what readings come to, by bank; nil: none of it. Hours of them are gone through once for all of it.
type gathered [5]*ofBank

type ofBank struct {
	filling
	idles
	purges
	seconds
	dots
	latest Reading
}

func (g *gathered) add(r Reading) {
	b := g[r.Bank]
	if b == nil {
		b = new(ofBank)
		g[r.Bank] = b
	}
	b.filling.add(&r)
	b.idles.add(&r)
	b.purges.add(&r)
	b.seconds.add(&r)
	b.dots.add(&r)
	b.latest = r
}

// gathered is what the readings come to.
func (d Data) gathered() *gathered {
	if d.banks != nil {
		return d.banks
	}
	g := new(gathered)
	if d.Readings == nil {
		return g
	}
	for r := range d.Readings {
		g.add(r)
	}
	return g
}

// Build makes the map of a session.
func Build(d Data) Map {
	m := Map{Data: d}
	for bank, g := range d.gathered() {
		if g == nil {
			continue
		}
		b := Result{Bank: bank, Cells: g.cells(), Idle: g.idle(), Fit: g.fit()}
		b.Pattern = judge(b.Fit)
		b.Purge = g.purge(b.Pattern)
		m.Banks = append(m.Banks, b)
	}
	m.Pair = pairOf(m.Banks, d.FlowUnit)
	both := len(m.Banks) > 1 && !slices.ContainsFunc(m.Banks, func(r Result) bool { return r.Pattern != m.Banks[0].Pattern })
	for i := range m.Banks {
		b := &m.Banks[i]
		b.Says = says(b.Pattern, b.Fit, d.FlowUnit)
		b.Points = points(b.Pattern, d.Flow, both, len(m.Banks) > 1)
		switch b.Fit.Model {
		case LevelOnly:
			b.Limits = append(b.Limits, reason.OneAirflow.Of(b.Fit.Low, b.Fit.High, d.FlowUnit))
		case Falling:
			b.Limits = append(b.Limits, reason.LittleAirflow.Of(b.Fit.Low, b.Fit.High, d.FlowUnit))
		}
	}
	if d.Count == 0 {
		m.Limits = append(m.Limits, reason.NoShortTrim.Of())
	}
	if !d.Status {
		m.Limits = append(m.Limits, reason.StatusUnread.Of())
	}
	switch d.Flow {
	case SpeedDensity:
		m.Limits = append(m.Limits, reason.FlowFromMAP.Of())
	case ByLoad:
		m.Limits = append(m.Limits, reason.FlowFromLoad.Of())
	case NoFlow:
		m.Limits = append(m.Limits, reason.FlowUnknown.Of())
	}
	for _, b := range m.Banks {
		if apart(b.Fit) {
			continue
		}
		if n, _, open := nextCondition(d, b.Bank); open {
			m.Next = n.what.Of()
			break
		}
	}
	if len(m.Banks) == 0 {
		m.Next = conditions[0].what.Of()
	}
	return m
}
