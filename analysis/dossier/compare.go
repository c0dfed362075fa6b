package dossier

import (
	"cmp"
	"math"
	"slices"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/decode"
)

// Comparison is what two sides of a repair come to. All but trims is of the last session on each
// side: the state that counts.
type Comparison struct {
	Trims  compare.Result
	Sensor []compare.Figure
	Force  []ForcePair
	Tests  []TestPair
	Codes  []CodePair
	Freeze [2]*Freeze  // nil: none
	Open   [2][]string // monitors that are not complete
	Done   []string    // monitors that were open before and are complete after
	Limits []Limit
}

// Compare sets sessions before a repair against those after it; each side has one at least, gathered
// with Setup.Trims.
//
// Special cases are: a conclusion that says nothing of the loop (nothing forced, unclear, not ready)
// and a proof that was not decided on both sides are not comparable; a state of codes that was not
// read after is [NotReadAgain], not [Gone].
func Compare(before, after []*Dossier) Comparison {
	readings := func(side []*Dossier) []trimmap.Readings {
		out := make([]trimmap.Readings, len(side))
		for i, d := range side {
			out[i] = d.TrimData(0).Readings
		}
		return out
	}
	b, a := before[len(before)-1], after[len(after)-1]
	c := Comparison{Trims: compare.Trims(readings(before), readings(after)),
		Sensor: compare.Switching(b.Switching, a.Switching), Force: forcePairs(b, a), Tests: testPairs(alone(b.Tests), alone(a.Tests)), Codes: codePairs(b, a),
		Freeze: [2]*Freeze{b.Freeze, a.Freeze}, Open: [2][]string{b.open(), a.open()}, Done: finished(b.Readiness.Last, a.Readiness.Last)}
	c.limits(b, a)
	return c
}

func (d *Dossier) open() []string {
	if d.Monitors == nil {
		return nil
	}
	return d.Monitors.Incomplete
}

// Change is what became of something from before to after.
type Change string

// What became of a code, and of one of the computer's own tests; "" where a test was not read, or
// not run, on one side.
const (
	Gone         Change = "gone"
	New          Change = "new"
	Still        Change = "still"
	NotReadAgain Change = "not read again"

	Passes    Change = "passes"
	Fails     Change = "fails"
	PassesNow Change = "passes now"
	FailsNow  Change = "fails now"
)

// CodePair is a trouble code before and after. Its ByTest is of the session after.
type CodePair struct {
	Code
	Change Change
}

func codePairs(b, a *Dossier) []CodePair {
	var out []CodePair
	for _, state := range CodeStates {
		was, read := b.read(state)
		is, readToo := a.read(state)
		all := slices.Concat(was, is)
		slices.Sort(all)
		for _, code := range slices.Compact(all) {
			p := CodePair{Code{code, state, setByTest(a.Events, code)}, Still}
			switch {
			case !slices.Contains(is, code) && readToo:
				p.Change = Gone
			case !slices.Contains(is, code):
				p.Change = NotReadAgain
			case !slices.Contains(was, code) && read:
				p.Change = New
			}
			out = append(out, p)
		}
	}
	return out
}

// read are the codes of a state as read last; false where it was not read.
func (d *Dossier) read(state string) (codes []string, read bool) {
	for _, c := range d.Codes {
		if c.State == state {
			codes = append(codes, c.Code)
		}
	}
	return codes, d.codesRead[state]
}

// TestPair is one of the computer's own tests before and after; nil: not read.
type TestPair struct {
	Before, After *OwnTest
	Change        Change
}

// Of is the test itself, as it was read last before, else after.
func (p TestPair) Of() *OwnTest {
	if p.Before != nil {
		return p.Before
	}
	return p.After
}

// Still reports whether the figure is a constant that stood still by definition.
func (p TestPair) Still() bool {
	return p.Before != nil && p.After != nil && p.Before.Value == p.After.Value && p.Before.Constant()
}

// alone are tests without the recording's figures beside them.
func alone(tests []OwnTest) []OwnTest {
	out := slices.Clone(tests)
	for i := range out {
		out[i].Recorded, out[i].Differs = math.NaN(), ""
	}
	return out
}

func testPairs(before, after []OwnTest) []TestPair {
	var out []TestPair
	like := func(x OwnTest) func(OwnTest) bool {
		return func(y OwnTest) bool { return x.Same(y.TestResult) }
	}
	for i := range before {
		p := TestPair{Before: &before[i]}
		if k := slices.IndexFunc(after, like(before[i])); k >= 0 {
			p.After = &after[k]
			p.Change = testChange(p.Before, p.After)
		}
		out = append(out, p)
	}
	for i := range after {
		if !slices.ContainsFunc(before, like(after[i])) {
			out = append(out, TestPair{After: &after[i]})
		}
	}
	return out
}

func testChange(before, after *OwnTest) Change {
	switch was, is := before.Passed(), after.Passed(); {
	case before.NotRun || after.NotRun:
		return ""
	case was && is:
		return Passes
	case is:
		return PassesNow
	case was:
		return FailsNow
	}
	return Fails
}

// LimitID names what limits a comparison.
type LimitID string

// The limits of a comparison.
const (
	LimitMatched  LimitID = "few_matched"   // little of the readings lies in conditions that both sides have
	LimitGone     LimitID = "code_gone"     // a code that is gone proves no repair
	LimitMonitors LimitID = "monitors_open" // the computer has not finished its own tests since
	LimitVehicles LimitID = "other_vehicle" // the sessions name different vehicles
	LimitSensors  LimitID = "other_sensor"  // different sensors were watched
	minMatched            = 0.5             // a share of the readings of each side (our own)
)

// Limit is something that a comparison's reader must know. Which fields count depends on the ID.
type Limit struct {
	ID     LimitID
	Shares [2]float64 // LimitMatched
	Names  []string   // LimitMonitors: the monitors; LimitVehicles, LimitSensors: before and after
}

func (c *Comparison) limits(b, a *Dossier) {
	say := func(l Limit) { c.Limits = append(c.Limits, l) }
	if m := c.Trims.Matched; c.Trims.Answer != compare.NotComparable && min(m[0], m[1]) < minMatched {
		say(Limit{ID: LimitMatched, Shares: m})
	}
	if slices.ContainsFunc(c.Codes, func(x CodePair) bool { return x.Change == Gone }) {
		say(Limit{ID: LimitGone})
	}
	if len(c.Open[1]) > 0 {
		say(Limit{ID: LimitMonitors, Names: c.Open[1]})
	}
	if x, y := b.Setup.Vehicle, a.Setup.Vehicle; x != "" && y != "" && x != y {
		say(Limit{ID: LimitVehicles, Names: []string{x, y}})
	}
	if x, y := b.Setup.Sensor, a.Setup.Sensor; x != y {
		say(Limit{ID: LimitSensors, Names: []string{x.String(), y.String()}})
	}
}

// ForceFigure says what of the force test is compared.
type ForceFigure uint8

const (
	ForceConclusion ForceFigure = iota // said: the verdict's conclusion
	ForceProof                         // said: the state of Proof
	ForceLatency                       // s, after the force of Side began: the interval that holds all answers
	ForceRate                          // %/s, of the answer to Side: between bounds
)

// ForcePair is one answer of the force test before and after. Answer is [compare.Differs],
// [compare.NoDifference] or [compare.NotComparable].
type ForcePair struct {
	What          ForceFigure
	Sensor        string           // where one side at least tested two: whose it is
	Proof         analysis.ProofID // of ForceProof
	Side          analysis.Side    // of ForceLatency and ForceRate
	Before, After ForceValue
	Answer        compare.Answer
}

// ForceValue is a word, or an interval; NaN: not known.
type ForceValue struct {
	Said   string
	Lo, Hi float64
}

// Known reports whether an interval is known.
func (v ForceValue) Known() bool { return !math.IsNaN(v.Lo) }

// forcePairs compares the force tests of the sensors that both sides tested: as they are where each tested one, else those of the
// same name, with it.
func forcePairs(b, a *Dossier) []ForcePair {
	if b.Verdict.Beside == nil && a.Verdict.Beside == nil {
		return pairsOf(b, a, b.Verdict, a.Verdict)
	}
	var out []ForcePair
	for _, x := range b.banks() {
		for _, y := range a.banks() {
			if x.Sensor != y.Sensor {
				continue
			}
			pairs := pairsOf(b, a, x, y)
			for i := range pairs {
				pairs[i].Sensor = x.Sensor
			}
			out = append(out, pairs...)
		}
	}
	return out
}

// banks are the verdicts by sensor, each with its sensor's name.
func (d *Dossier) banks() []analysis.Verdict {
	banks := d.Verdict.Banks()
	for i := range banks {
		banks[i].Sensor = cmp.Or(banks[i].Sensor, d.Setup.Sensor.String())
	}
	return banks
}

// pairsOf compares the proofs of one sensor by their states, and the loop's latencies and rates by the
// intervals that hold them. Where in its switching the loop was when the force began is chance, so
// latencies closer to each other than its period show no difference.
func pairsOf(b, a *Dossier, before, after analysis.Verdict) []ForcePair {
	same := func(x, y string, tested bool) compare.Answer {
		switch {
		case !tested:
			return compare.NotComparable
		case x == y:
			return compare.NoDifference
		}
		return compare.Differs
	}
	said := func(s string) ForceValue { return ForceValue{Said: s, Lo: math.NaN(), Hi: math.NaN()} }
	x, y := string(before.Conclusion), string(after.Conclusion)
	out := []ForcePair{{What: ForceConclusion, Before: said(x), After: said(y), Answer: same(x, y, decides(before.Conclusion) && decides(after.Conclusion))}}
	decided := func(s analysis.State) bool { return s == analysis.Proven || s == analysis.Failed }
	for i, p := range before.Proofs {
		if q := after.Proofs; i < len(q) && (p.State != analysis.Untested || q[i].State != analysis.Untested) {
			x, y := string(p.State), string(q[i].State)
			out = append(out, ForcePair{What: ForceProof, Proof: p.ID, Before: said(x), After: said(y), Answer: same(x, y, decided(p.State) && decided(q[i].State))})
		}
	}
	period := longestPeriod(b.Switching, a.Switching)
	for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
		x, y := b.latency(before, side), a.latency(after, side)
		if !x.Known() && !y.Known() {
			continue
		}
		out = append(out,
			intervalPair(ForceLatency, side, x, y, func(x, y ForceValue) bool { return x.Lo > y.Hi+period }),
			intervalPair(ForceRate, side, rate(before, side), rate(after, side), func(x, y ForceValue) bool { return x.Lo > samePace*y.Hi }))
	}
	return out
}

// decides reports whether a conclusion says something of the loop.
func decides(c analysis.Conclusion) bool {
	return c != analysis.NothingForced && c != analysis.ConclusionUnclear && c != analysis.ConclusionNotReady
}

func intervalPair(what ForceFigure, side analysis.Side, x, y ForceValue, above func(x, y ForceValue) bool) ForcePair {
	p := ForcePair{What: what, Side: side, Before: x, After: y, Answer: compare.NotComparable}
	if x.Known() && y.Known() {
		p.Answer = compare.NoDifference
		if above(x, y) || above(y, x) {
			p.Answer = compare.Differs
		}
	}
	return p
}

// latency is when the loop answered the forces of one side of a verdict's sensor: the interval that holds all of them. Events are the
// first sensor's where they name none.
func (d *Dossier) latency(of analysis.Verdict, side analysis.Side) ForceValue {
	v := ForceValue{Lo: math.NaN(), Hi: math.NaN()}
	own := d.Setup.Sensor.String()
	for _, e := range d.Events {
		if e.Name != analysis.LoopAnswers || e.Side != side || cmp.Or(e.Sensor, own) != cmp.Or(of.Sensor, own) {
			continue
		}
		if !v.Known() {
			v.Lo, v.Hi = e.AfterMin, e.AfterMax
		}
		v.Lo, v.Hi = min(v.Lo, e.AfterMin), max(v.Hi, e.AfterMax)
	}
	return v
}

const (
	// samePace is the ratio up to which two rates show no difference: idle speed and load move
	// a loop's pace too (our own).
	samePace = 1.25
	// periodUnknown stands for a period of switching that the readings could not show, s
	// (common practice: a warm sensor crosses at least every other second).
	periodUnknown = 2.0
)

// rate is how fast trim answered: over all that it moved, each end may be off by one step.
func rate(of analysis.Verdict, side analysis.Side) ForceValue {
	id := analysis.ProofAddsFuel
	if side == analysis.Rich {
		id = analysis.ProofCutsFuel
	}
	for _, p := range of.Proofs {
		moved, known := p.Evidence["moved_pct"]
		if r, ok := p.Evidence["rate_pct_s"]; p.ID == id && ok && known && moved != 0 {
			off := 2 * decode.TrimCount / math.Abs(moved)
			return ForceValue{Lo: r * max(1-off, 0), Hi: r * (1 + off)}
		}
	}
	return ForceValue{Lo: math.NaN(), Hi: math.NaN()}
}

// longestPeriod is the longest period of switching that any band shows, s.
func longestPeriod(sides ...[]switching.SpeedBand) float64 {
	longest := math.NaN()
	for _, side := range sides {
		for _, b := range side {
			if !(b.Period <= longest) && !math.IsNaN(b.Period) {
				longest = b.Period
			}
		}
	}
	if math.IsNaN(longest) {
		return periodUnknown
	}
	return longest
}

// Different reports that the two are named as different vehicles: then no answer says that a repair helped.
func (c Comparison) Different() bool {
	return slices.ContainsFunc(c.Limits, func(l Limit) bool { return l.ID == LimitVehicles })
}
