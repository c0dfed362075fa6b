package unseenwide

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// deed is what a force did, beside the twin whom nobody forced.
type deed struct {
	feed
	left, trim float64 // the most that φ at the input left the twin's the way of the force, and that trim answered
	readings   int
	stood      bool // λ away by 3 % for 8 s with the status 02, and trim within a count
	force      truth.Force
}

// witnessed is all that is known of a test before it is judged.
type witnessed struct {
	car           *carSpec
	fault         fault
	session       *session
	port          *portSpec
	deeds         []deed
	spread, swing float64 // of φ at the input and of trim, of the twin
	rate          float64
	closed        float64 // share of the status 02 before anything was done
	pinned        bool    // trim at its limit before it
	gain          float64
	cuts          [][2]float64
}

func sd(list []float64) float64 {
	var sum, squares float64
	for _, x := range list {
		sum, squares = sum+x, squares+x*x
	}
	n := float64(len(list))
	return math.Sqrt(max(0, squares/n-sum/n*sum/n))
}

// total is short- and long-term trim of bank 1 together.
func (x *told) total() float64 { return (1+float64(x.short[0]))*(1+float64(x.long[0])) - 1 }

// witness compares a run with its twin.
func witness(car *carSpec, f fault, s *session, r *reader, twin *run) *witnessed {
	w := &witnessed{car: car, fault: f, session: s, port: &r.port, gain: car.gain(), rate: float64(len(r.watch)) / s.length, cuts: r.run.cut}
	first := s.length
	if len(s.feeds) > 0 {
		first = s.feeds[0].begin
	} else if len(s.legs) > 1 {
		first = s.legs[1].from
	}
	var phi, short []float64
	for t := 3.0; t < s.length; t += tick {
		x := twin.at(t)
		phi, short = append(phi, float64(x.phi[0])), append(short, float64(x.short[0]))
		if x.status == 2 && t < first {
			w.closed += tick / (first - 3)
		}
	}
	w.spread, w.swing = sd(phi), sd(short)
	w.pinned = math.Abs(float64(r.run.at(first - 0.1).short[0])) > car.loop.limit-2*count
	for _, f := range s.feeds {
		w.deeds = append(w.deeds, w.deed(f, r, twin))
	}
	return w
}

// gain is what a per cent of commanded fuel shows as on bank 1.
func (s *carSpec) gain() float64 {
	if !s.bank[0].obeys {
		return 0
	}
	return s.bank[0].cell.gain()
}

// deed weighs one force. Trim's first move is one that stays: half a count and more for half a second.
func (w *witnessed) deed(f feed, r *reader, twin *run) deed {
	way, d := 1.0, deed{feed: f, force: truth.Force{Side: "rich", Begin: f.begin, End: f.end}}
	if f.side == lean {
		way, d.force.Side = -1, "lean"
	}
	answer := func(t float64) float64 { return -way * (r.run.at(t).total() - twin.at(t).total()) }
	before, since, away := answer(f.begin), -1.0, 0.0
	for t := f.begin; t < f.end; t += tick {
		left := way * float64(r.run.at(t).phi[0]-twin.at(t).phi[0])
		moved := answer(t) - before
		d.left, d.trim = max(d.left, left), max(d.trim, moved)
		if left > 0.03 && r.run.at(t).status == 2 {
			away += tick
		}
		if moved < count/2 {
			since = -1
		} else if since < 0 {
			since = t
		}
		if since >= 0 && t-since > 0.5 && d.force.Commanded == 0 {
			d.force.Commanded = since - f.begin
		}
	}
	d.stood = away >= 8 && d.trim < count
	for _, t := range r.watch {
		if t > f.begin && t < f.end {
			d.readings++
		}
	}
	d.shown(r, twin, way)
	d.force.Faint = w.faint(&d)
	return d
}

// shown finds the first reading of short-term trim that is a count off what the twin's would have been.
func (d *deed) shown(r *reader, twin *run, way float64) {
	off := func(t float64) float64 {
		return -way * (math.Round(float64(r.run.at(t).short[0])/count) - math.Round(float64(twin.at(t).short[0])/count))
	}
	before := off(d.begin)
	for i, taken := range r.trims {
		if d.force.Commanded > 0 && taken >= d.begin+d.force.Commanded && taken < d.end && off(taken)-before >= 1 {
			d.force.Told = r.trimAt[i] - d.begin
			return
		}
	}
	d.force.Commanded = 0
}

// faint is what nobody need see.
func (w *witnessed) faint(d *deed) bool {
	if w.car.bank[0].cell.stuck != 0 || w.closed < 0.8 || d.left < max(0.01, 1.5*w.spread) || d.end-d.begin < 4 || d.readings < 10 {
		return true
	}
	oneSide := !slices.ContainsFunc(w.session.feeds, func(f feed) bool { return f.side != d.side })
	return len(w.session.marks) == 0 && (oneSide || d.left < 0.03)
}

// shows reports whether the sensor and the loop can be seen in a force.
func (w *witnessed) shows(d *deed) bool {
	return d.left > max(0.02, 2*w.spread) && d.trim > max(0.02, 1.5*w.swing) && d.readings >= 10
}

// Conclusions, by the names of the contract.
const (
	proven, partly, unclear, nothing             = "loop_proven", "partly_proven", "unclear", "nothing_forced"
	noCommand, noDelivery, isDead, isSlow, isOff = "no_command", "no_delivery", "sensor_dead", "sensor_slow", "sensor_skewed"
	notReady                                     = "not_ready"
)

// judge says what may be concluded of a test: what is right, and what is left open.
func (w *witnessed) judge() (right, open []string) {
	marked := len(w.session.marks) > 0
	if !marked || w.session.off {
		open = append(open, nothing)
	}
	if w.closed < 0.8 {
		return []string{notReady}, append(open, unclear, nothing)
	}
	var more []string
	if w.session.by == "fuelcut" {
		right, more = w.judgeCut()
		return right, append(open, more...)
	}
	if !slices.ContainsFunc(w.deeds, func(d deed) bool { return !d.force.Faint }) {
		if right = append(right, nothing, unclear); marked && w.car.bank[0].cell.stuck != 0 {
			right, open = right[1:], append(open, nothing) // somebody said that there was something
		}
	}
	if w.session.off {
		right = append(right, unclear)
	}
	all, more := w.judgeFault()
	return append(right, all...), append(open, append(more, unclear)...)
}

// judgeFault is what a fault makes of a test by mixture.
func (w *witnessed) judgeFault() (right, open []string) {
	var sides [2]bool
	strong, stood := false, 0
	for i := range w.deeds {
		d := &w.deeds[i]
		sides[d.side] = sides[d.side] || w.shows(d)
		strong = strong || d.trim > 0.1 && !d.force.Faint
		if d.stood {
			stood++
		}
	}
	seen := sides[rich] || sides[lean]
	whole, rest := []string{proven, partly}, []string(nil) // a loop in which nothing else is to be seen
	if sides[rich] && sides[lean] {
		whole, rest = []string{proven}, []string{partly}
	} else if !seen || w.pinned {
		whole = append(whole, unclear)
	}
	tau := w.car.bank[0].cell.tau
	switch w.fault.name {
	case skewed:
		switch {
		case w.gain > 0.6 && w.gain < 1.5: // between the bounds of a sound scale and those of a fault
			return []string{isOff, unclear}, []string{proven, partly}
		case !seen || w.rate < 3 || !w.port.reads(0x15):
			return []string{isOff, unclear}, []string{partly}
		}
		return []string{isOff}, []string{partly}
	case offset:
		return append(whole, isOff, unclear), rest
	case lagging:
		switch {
		case max(tau[0], tau[1]) < 0.8 || w.rate < 5 || w.port.refresh > 0.2 || !seen:
			return append(whole, isSlow, unclear), rest
		case min(tau[0], tau[1]) < 0.8:
			return []string{isSlow}, []string{partly, proven}
		}
		return []string{isSlow}, []string{partly}
	case deadCell, openPump:
		return []string{unclear, isDead}, nil
	case notThrough:
		if w.pinned || !strong {
			return []string{noDelivery, unclear}, nil
		}
		return []string{noDelivery}, nil
	case silent:
		if stood < 2 {
			return []string{noCommand, unclear}, nil
		}
		return []string{noCommand}, nil
	}
	return whole, rest
}

// judgeCut: a cut of 3.5 s shows that the sensor reads lean, and no command.
func (w *witnessed) judgeCut() (right, open []string) {
	longest := 0.0
	for _, c := range w.cuts {
		longest = max(longest, c[1]-c[0])
	}
	cell := &w.car.bank[0].cell
	switch {
	case cell.stuck != 0 && longest < 2:
		return []string{isDead, unclear, nothing}, nil
	case cell.stuck != 0:
		return []string{isDead, unclear}, []string{nothing}
	case longest >= 3.5+cell.tau[lean] && w.rate >= 2:
		right, open = []string{partly}, []string{unclear, nothing}
	default:
		right = []string{partly, unclear, nothing}
	}
	switch w.fault.name {
	case skewed, offset:
		right = append(right, isOff, unclear)
	case lagging:
		right = append(right, isSlow, unclear)
	case notThrough:
		open = append(open, noDelivery)
	case silent:
		open = append(open, noCommand)
	}
	return right, open
}

// falsehoods are the claims about links that are not so: a good link failed, or a bad one proven.
func (w *witnessed) falsehoods() map[string][]string {
	good, bad := []string{"bank", "input", "sensor_rich", "sensor_lean", "adds_fuel", "cuts_fuel", "delivery"}, []string(nil)
	switch w.fault.name {
	case deadCell, openPump: // which link of sensor, wire and input it is can't be told, nor what the loop would do
		good, bad = []string{"bank", "delivery"}, []string{"sensor_rich", "sensor_lean", "sensor_scale"}
	case notThrough:
		good, bad = good[:6], []string{"delivery"}
	case openLoop:
		good, bad = good[:4], []string{"adds_fuel", "cuts_fuel"}
	case silent:
		good, bad = append(good[:4:4], "delivery"), []string{"adds_fuel", "cuts_fuel"}
	case lagging:
		good = slices.Delete(good, 2, 4)
	case skewed:
		if w.gain <= 0.6 || w.gain >= 1.5 {
			bad = []string{"sensor_scale"}
		}
	case sound, oneValve:
		good = append(good, "sensor_scale", "recovery")
	}
	no := map[string][]string{}
	for _, p := range good {
		if !w.pinned || p != "adds_fuel" && p != "cuts_fuel" && p != "recovery" { // at its limit trim can't move
			no[p] = []string{"failed"}
		}
	}
	for _, p := range bad {
		no[p] = append(no[p], "proven")
	}
	return no
}
