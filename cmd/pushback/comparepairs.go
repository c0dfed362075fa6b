package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/switching"
)

// What `compare` puts beside each other apart from trims: the force test, the sensor's
// switching and the computer's own tests.

// forcePair is one answer of the force test before and after.
type forcePair struct {
	What   string         `json:"what"`
	Before string         `json:"before"` // "" none
	After  string         `json:"after"`
	Answer compare.Answer `json:"answer"` // differs, no_difference_shown, not_comparable
}

// forcePairs compares the proofs by their states, and the loop's latencies and rates by the
// intervals that hold them. Where in its switching the loop was when the force began is chance, so
// intervals closer to each other than period (s) show no difference.
func forcePairs(b, a *evidence, period float64) []forcePair {
	same := func(x, y string, tested bool) compare.Answer {
		switch {
		case !tested:
			return compare.NotComparable
		case x == y:
			return compare.NoDifference
		}
		return compare.Differs
	}
	x, y := string(b.verdict.Conclusion), string(a.verdict.Conclusion)
	told := func(c analysis.Conclusion) bool {
		return c != analysis.NothingForced && c != analysis.UnclearResult && c != analysis.NotReadyToSay
	}
	out := []forcePair{{"conclusion", x, y, same(x, y, told(b.verdict.Conclusion) && told(a.verdict.Conclusion))}}
	decided := func(s analysis.State) bool { return s == analysis.Proven || s == analysis.Failed }
	for i, p := range b.verdict.Proofs {
		if q := a.verdict.Proofs; i < len(q) && (p.State != analysis.Untested || q[i].State != analysis.Untested) {
			out = append(out, forcePair{string(p.ID), string(p.State), string(q[i].State),
				same(string(p.State), string(q[i].State), decided(p.State) && decided(q[i].State))})
		}
	}
	for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
		x, y := latencyOf(b, side), latencyOf(a, side)
		if x.n+y.n == 0 {
			continue
		}
		p := forcePair{"answer to " + string(side), x.text(), y.text(), compare.NotComparable}
		if x.n > 0 && y.n > 0 {
			p.Answer = compare.NoDifference
			if x.from > y.to+period || y.from > x.to+period {
				p.Answer = compare.Differs
			}
		}
		out = append(out, p, pacePair("speed of answer to "+string(side), paceOf(b, side), paceOf(a, side)))
	}
	return out
}

// pace is how fast trim answered, %/s, between bounds; NaN not known.
type pace struct{ lo, hi float64 }

// trimStep is the step of trims by service 01, %.
const trimStep = 100.0 / 128

// paceOf bounds the rate by the steps of trim: over all that it moved, each end may be off by
// one step.
func paceOf(e *evidence, side analysis.Side) pace {
	id := map[analysis.Side]analysis.ProofID{analysis.Lean: analysis.ProofAddsFuel, analysis.Rich: analysis.ProofCutsFuel}[side]
	for _, p := range e.verdict.Proofs {
		moved, known := p.Evidence["moved_pct"]
		if r, ok := p.Evidence["rate_pct_s"]; p.ID == id && ok && known && moved != 0 {
			off := 2 * trimStep / math.Abs(moved)
			return pace{r * max(1-off, 0), r * (1 + off)}
		}
	}
	return pace{math.NaN(), math.NaN()}
}

func (r pace) text() string {
	if math.IsNaN(r.lo) {
		return ""
	}
	return fmt.Sprintf("%.2f to %.2f %%/s", r.lo, r.hi)
}

// samePace is the ratio up to which two rates show no difference: idle speed and load move
// a loop's pace too (our own).
const samePace = 1.25

func pacePair(what string, x, y pace) forcePair {
	p := forcePair{what, x.text(), y.text(), compare.NotComparable}
	if !math.IsNaN(x.lo + y.lo) {
		p.Answer = compare.NoDifference
		if x.lo > samePace*y.hi || y.lo > samePace*x.hi {
			p.Answer = compare.Differs
		}
	}
	return p
}

// latency is when the loop answered the forces of one side: the interval that holds all
// of them, s.
type latency struct {
	n        int
	from, to float64
}

func latencyOf(e *evidence, side analysis.Side) (l latency) {
	for _, v := range e.events {
		if v.Name != analysis.LoopAnswers || v.Side != side {
			continue
		}
		if l.n == 0 {
			l = latency{0, v.AfterMin, v.AfterMax}
		}
		l.n, l.from, l.to = l.n+1, min(l.from, v.AfterMin), max(l.to, v.AfterMax)
	}
	return l
}

func (l latency) text() string {
	if l.n == 0 {
		return ""
	}
	return fmt.Sprintf("after %.2f to %.2f s", l.from, l.to)
}

// periodUnknown stands for a period of switching that the readings could not show, s
// (common practice: a warm sensor crosses at least every other second).
const periodUnknown = 2.0

// slowest is the longest period that any band shows, s.
func slowest(sides [2][]switching.Band) float64 {
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

// testPair is one of the computer's own tests (services 05, 06) before and after.
type testPair struct {
	ID     string   `json:"id"`
	Before *ownTest `json:"before"` // null: not read
	After  *ownTest `json:"after"`
	Change string   `json:"change"` // passes now, fails now, passes, fails; "" where one was not read or not run
}

func testPairs(b, a *evidence) []testPair {
	out := []testPair{}
	before, after := testsOf(b.Tests, nil, ""), testsOf(a.Tests, nil, "")
	like := func(x ownTest) func(ownTest) bool {
		return func(y ownTest) bool { return x.result.Same(y.result) }
	}
	for i := range before {
		p := testPair{ID: before[i].ID, Before: &before[i]}
		if k := slices.IndexFunc(after, like(before[i])); k >= 0 {
			p.After = &after[k]
			if p.Before.NotRun || p.After.NotRun {
				out = append(out, p)
				continue
			}
			p.Change = map[[2]bool]string{{true, true}: "passes", {false, false}: "fails", {false, true}: "passes now", {true, false}: "fails now"}[[2]bool{p.Before.Passed, p.After.Passed}]
		}
		out = append(out, p)
	}
	for i := range after {
		if !slices.ContainsFunc(before, like(after[i])) {
			out = append(out, testPair{ID: after[i].ID, After: &after[i]})
		}
	}
	return out
}

// row is what, before, after, change; ok is false for what stands still by definition.
func (p testPair) row() (cells []string, ok bool) {
	of := func(t *ownTest) string {
		if t == nil {
			return "not read"
		}
		return resultText(t.result)
	}
	t := p.Before
	if t == nil {
		t = p.After
	}
	still := p.Before != nil && p.After != nil && p.Before.Value == p.After.Value && constant(t.result)
	return []string{strings.TrimSpace(t.Sensor + " " + t.What), of(p.Before), of(p.After), p.Change}, !still
}

// row is what, before, after, difference, answer; ok is false where neither was measured.
func (f figureJSON) row() (cells []string, ok bool) {
	text := func(n number) string {
		if math.IsNaN(float64(n)) {
			return "not measurable"
		}
		return strings.TrimSpace(fmt.Sprintf("%.2f %s", float64(n), f.Unit))
	}
	diff := ""
	if !math.IsNaN(f.Diff.Lo + f.Diff.Hi) {
		diff = fmt.Sprintf("%+.2f (%+.2f to %+.2f)", f.Diff.Value, f.Diff.Lo, f.Diff.Hi)
	}
	return []string{f.What, text(f.Before), text(f.After), diff, plainWord(string(f.Answer))},
		!math.IsNaN(float64(f.Before)) || !math.IsNaN(float64(f.After))
}

func (p forcePair) row() []string {
	return []string{plainWord(p.What), plainWord(p.Before), plainWord(p.After), plainWord(string(p.Answer))}
}

func plainWord(s string) string { return strings.ReplaceAll(s, "_", " ") }

func (c comparison) printSensor(w io.Writer) {
	table(w, []string{"sensor (while nobody forced)", "before", "after", "difference (95 %)", ""}, len(c.Sensor), func(i int) ([]string, bool) { return c.Sensor[i].row() })
	if slices.ContainsFunc(c.Sensor, func(f figureJSON) bool { return f.Answer == compare.NotComparable }) {
		fmt.Fprintln(w, "  not comparable: not measured on both sides, or for less than a minute of idle, or of 2000 to 2500 rpm")
	}
}

func (c comparison) printForce(w io.Writer) {
	table(w, []string{"force test", "before", "after", ""}, len(c.Force), func(i int) ([]string, bool) { return c.Force[i].row(), true })
}

func (c comparison) printTests(w io.Writer) {
	table(w, []string{"the computer's own tests", "before", "after", ""}, len(c.Tests), func(i int) ([]string, bool) { return c.Tests[i].row() })
}

// table prints the rows that count under their heads; nothing where none does.
func table(w io.Writer, heads []string, n int, row func(int) ([]string, bool)) {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	begun := false
	for i := range n {
		cells, ok := row(i)
		if !ok {
			continue
		}
		if !begun {
			fmt.Fprintln(tw, "\n"+strings.Join(heads, "\t"))
			begun = true
		}
		fmt.Fprintln(tw, "  "+strings.Join(cells, "\t"))
	}
	tw.Flush()
}
