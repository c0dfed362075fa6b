package trimmap

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"pushback/analysis/hazard"
	"pushback/analysis/stats"
)

// Pattern is the shape of a bank's trims over air flow.
type Pattern string

const (
	NoData      Pattern = "no_data"      // too few readings to say anything
	Normal      Pattern = "normal"       // within the usual band wherever it was driven
	AddsAtIdle  Pattern = "adds_at_idle" // adds at low flow, less with more: a constant amount of air too much
	AddsAtLoad  Pattern = "adds_at_load" // adds the more, the more flows: supply runs out
	AddsAll     Pattern = "adds_all"     // adds everywhere alike: scale
	CutsAtIdle  Pattern = "cuts_at_idle" // cuts at low flow, less with more: a constant amount of fuel too much
	CutsAtLoad  Pattern = "cuts_at_load" // cuts the more, the more flows
	CutsAll     Pattern = "cuts_all"     // cuts everywhere alike
	AddsSomehow Pattern = "adds_unclear" // adds too much, but over what flow is not shown
	CutsSomehow Pattern = "cuts_unclear" // cuts too much, the same
	Undecided   Pattern = "undecided"    // the readings scatter too much, or contradict each other
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
	Says    string   // the pattern in words
	Points  []string // what it points to, the likeliest and cheapest to look at first
	Limits  []string // what the data do not show
	Idle    *Idle    // nil: not read twice
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
	case low*high < 0:
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
func points(p Pattern, flow Flow, both, two bool) []string {
	bank := "this bank"
	if both {
		bank = "all banks: look for one common cause"
	}
	var out []string
	if two && (p != Normal && p != NoData && p != Undecided) {
		out = append(out, bank)
	}
	add := func(s ...string) { out = append(out, s...) }
	switch p {
	case AddsAtIdle:
		if flow == SpeedDensity || flow == ByLoad {
			add("does it have a MAF? Without one, unmetered air mostly raises the idle, and trim points to an exhaust leak ahead of the sensor first")
		}
		add(hazard.Step("vacuum leak: hoses, intake gasket, brake booster, crankcase ventilation, oil cap (smoke, or propane around the joints)", hazard.Propane, hazard.Running),
			"an exhaust leak ahead of the sensor: outside air reads as lean, most at idle",
			"a misfire or a weak injector at idle")
	case AddsAtLoad:
		add(hazard.Step("weak fuel supply: pressure and volume under load, filter, pump, its voltage", hazard.Fuel),
			"a MAF reading low at high flow: compare with what the engine should draw",
			"restricted injectors")
	case AddsAll:
		add("a MAF or MAP sensor that reads low over its whole range", hazard.Step("low fuel pressure", hazard.Fuel),
			"fuel with more ethanol than the ECM expects", "an oxygen sensor that reads falsely lean: the bias test shows it")
	case CutsAtIdle:
		add(hazard.Step("a leaking injector: pressure that falls after switching off", hazard.Fuel), hazard.Step("purge: close it and look again", hazard.Running),
			"fuel in the oil, coming back through the crankcase ventilation", hazard.Step("a leaking pressure regulator, on cars that have its vacuum hose", hazard.Fuel))
	case CutsAtLoad:
		add("a MAF reading high at high flow", hazard.Step("fuel pressure that rises with load: regulator, return line", hazard.Fuel))
	case CutsAll:
		add(hazard.Step("fuel pressure too high", hazard.Fuel), "a MAF reading high", "purge", "an oxygen sensor that reads falsely rich: the bias test shows it")
	case AddsSomehow:
		add("unmetered air, supply or scale: the run below separates them")
	case CutsSomehow:
		add("leaking injector, purge, pressure or scale: the run below separates them")
	}
	return out
}

// says words a pattern with its numbers.
func says(p Pattern, f Fit, unit string) string {
	at := func(i Interval, x float64) string { return fmt.Sprintf("%+.1f %% at %.3g %s", i.Value, x, unit) }
	ends := at(f.AtLow, f.Low) + ", " + at(f.AtHigh, f.High)
	if f.Model == LevelOnly {
		ends = at(f.AtMid, f.Mid)
	}
	switch p {
	case NoData:
		return "not enough usable readings"
	case Normal:
		return "total trim is normal everywhere it was driven (" + ends + ")"
	case AddsAtIdle:
		return "positive trim at low airflow, less at high (" + ends + "): unmetered air (vacuum leak)"
	case AddsAtLoad:
		return "positive trim grows with airflow (" + ends + "): weak fuel supply or MAF reading low"
	case AddsAll:
		return "positive trim, the same everywhere (" + ends + "): MAF, fuel pressure or fuel quality off by a constant percentage"
	case CutsAtIdle:
		return "negative trim at low airflow, less at high (" + ends + "): extra fuel at idle (purge, leaking injector)"
	case CutsAtLoad:
		return "negative trim grows with airflow (" + ends + ")"
	case CutsAll:
		return "negative trim, the same everywhere (" + ends + "): MAF or fuel pressure off by a constant percentage"
	case AddsSomehow:
		return "positive trim, more than usual (" + ends + "), but not enough data to see how it changes with airflow"
	case CutsSomehow:
		return "negative trim, more than usual (" + ends + "), but not enough data to see how it changes with airflow"
	}
	return "no clear pattern (" + ends + "): the readings scatter too much or contradict each other"
}

// condition is one way to run the engine.
type condition struct {
	name         string // for other programs
	What         string
	speed, share float64 // rpm, % load
}

// conditions spread over what a petrol engine draws, the cheapest first; the load
// figures are usual ones.
var conditions = []condition{
	{"map_idle", hazard.Step("warm idle, nothing switched on, for two minutes", hazard.Running), 800, 25},
	{"map_1500", hazard.Step("1500 rpm without load, for one minute", hazard.Running), 1500, 20},
	{"map_2500", hazard.Step("2500 rpm without load, for one minute", hazard.Running), 2500, 20},
	{"map_cruise", hazard.Step("a steady cruise at 1500 to 2500 rpm in a high gear, for some minutes", hazard.Road), 2000, 45},
	{"map_pull", hazard.Step("long pulls at 2000 to 3500 rpm and three quarters of full load, on the road", hazard.Road), 2750, 78},
}

// idleAgain comes last: some computers learn an idle term that no trim shows.
var idleAgain = condition{"map_idle_again", hazard.Step("warm idle again, nothing switched on", hazard.Running, hazard.Road), 800, 25}

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
	Next   string   // the condition to drive next; "" none
	Limits []string // of the whole session
}

// Build makes the map of a session.
func Build(d Data) Map {
	m := Map{Data: d}
	var seen [5]bool
	for r := range d.Readings {
		seen[r.Bank] = true
	}
	for bank, any := range seen {
		if any {
			m.Banks = append(m.Banks, Result{Bank: bank})
		}
	}
	var work sync.WaitGroup // hours of readings take a while
	for i := range m.Banks {
		b := &m.Banks[i]
		work.Go(func() { b.Cells = cellsOf(d.Readings, b.Bank) })
		work.Go(func() { b.Idle = idleOf(d.Readings, b.Bank).idle() })
		work.Go(func() { b.Fit = FitBank(d.Readings, b.Bank) })
	}
	work.Wait()
	for i := range m.Banks {
		m.Banks[i].Pattern = judge(m.Banks[i].Fit)
	}
	both := len(m.Banks) > 1 && !slices.ContainsFunc(m.Banks, func(r Result) bool { return r.Pattern != m.Banks[0].Pattern })
	for i := range m.Banks {
		b := &m.Banks[i]
		b.Says = says(b.Pattern, b.Fit, d.FlowUnit)
		b.Points = points(b.Pattern, d.Flow, both, len(m.Banks) > 1)
		switch b.Fit.Model {
		case LevelOnly:
			b.Limits = append(b.Limits, fmt.Sprintf("only one airflow was driven (%.3g to %.3g %s); also take 2500 rpm and a loaded run", b.Fit.Low, b.Fit.High, d.FlowUnit))
		case Falling:
			b.Limits = append(b.Limits, fmt.Sprintf("airflow ranged only from %.3g to %.3g %s, or wasn't held steady in between, so falling trim can't be told apart: vacuum leak or scale", b.Fit.Low, b.Fit.High, d.FlowUnit))
		}
	}
	if d.Count == 0 {
		m.Limits = append(m.Limits, "no usable short-term trim reading")
	}
	if !d.Status {
		m.Limits = append(m.Limits, "fuel status was not read; open loop was guessed from trims at zero")
	}
	switch d.Flow {
	case SpeedDensity:
		m.Limits = append(m.Limits, "airflow is calculated from MAP, rpm and intake temperature; its shape counts, not its size")
	case ByLoad:
		m.Limits = append(m.Limits, "airflow was not read; rpm × calculated load is used instead")
	case NoFlow:
		m.Limits = append(m.Limits, "no airflow: neither MAF, nor MAP with rpm and intake temperature, nor load were read")
	}
	for _, b := range m.Banks {
		if n, _, open := nextCondition(d, b.Bank); open {
			m.Next = n.What
			break
		}
	}
	if len(m.Banks) == 0 {
		m.Next = conditions[0].What
	}
	return m
}
