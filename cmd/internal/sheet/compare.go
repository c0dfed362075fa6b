package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"pushback/analysis/compare"
	"pushback/analysis/dossier"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// Comparison is the JSON of two sides of a repair.
type Comparison struct {
	Before  []string       `json:"before"`
	After   []string       `json:"after"`
	Answer  compare.Answer `json:"answer"`
	Why     string         `json:"why"`
	Shifted bool           `json:"shifted"` // trims moved, whether nearer to zero or not
	Overall *Change        `json:"overall"` // null: nothing matched
	Cells   []Change       `json:"conditions"`
	Matched [2]Number      `json:"matched_share"` // of the readings before and after
	Sensor  []Figure       `json:"switching"`
	Force   []ForcePair    `json:"force_test"`
	Tests   []TestPair     `json:"own_tests"`
	Codes   []CodePair     `json:"codes"`
	Freeze  [2]*Freeze     `json:"freeze_frame"` // null: none
	Open    [2][]string    `json:"monitors_not_complete"`
	Done    []string       `json:"monitors_finished"` // open before, complete after
	Limits  []string       `json:"limits"`
}

// Change is the JSON of total trim under one condition before and after.
type Change struct {
	Bank    int              `json:"bank,omitempty"`
	RPM     *[2]Number       `json:"rpm,omitempty"`
	Load    *[2]Number       `json:"load_pct,omitempty"`
	Warming bool             `json:"warming,omitempty"`
	Count   [2]int           `json:"count"`
	Mean    [2]Number        `json:"mean_pct"`
	Diff    trimmap.Interval `json:"difference_pct"`
	Nearer  trimmap.Interval `json:"distance_change_pct"`
	Answer  compare.Answer   `json:"answer"`
	Shifted bool             `json:"shifted"`
}

// Figure is the JSON of a figure of the sensor's switching before and after.
type Figure struct {
	What   string           `json:"what"`
	Unit   string           `json:"unit"`
	Before Number           `json:"before"` // null: not measured
	After  Number           `json:"after"`
	Diff   trimmap.Interval `json:"difference"`
	Answer compare.Answer   `json:"answer"`
}

// ForcePair is the JSON of one answer of the force test before and after.
type ForcePair struct {
	What   string         `json:"what"`
	Sensor string         `json:"sensor,omitempty"` // where one side at least tested two
	Before string         `json:"before"`           // "" none
	After  string         `json:"after"`
	Answer compare.Answer `json:"answer"` // differs, no_difference_shown, not_comparable
}

// TestPair is the JSON of one of the computer's own tests before and after.
type TestPair struct {
	ID     string         `json:"id"`
	Before *OwnTest       `json:"before"` // null: not read
	After  *OwnTest       `json:"after"`
	Change dossier.Change `json:"change"` // "" where one was not read or not run
}

// CodePair is the JSON of a trouble code before and after.
type CodePair struct {
	Code    string         `json:"code"`
	State   string         `json:"state"`
	Change  dossier.Change `json:"change"`
	Meaning string         `json:"meaning"`
	ByTest  bool           `json:"by_test"` // set while the second test ran, so by the test
}

// ComparisonOf is the JSON of a comparison of the sessions with these ids.
func ComparisonOf(before, after []string, c dossier.Comparison) Comparison {
	r := c.Trims
	j := Comparison{Before: before, After: after, Answer: r.Answer, Why: why.Text(r.Why), Shifted: r.Shifted, Cells: each(r.Cells, cellChangeOf),
		Matched: [2]Number{Number(r.Matched[0]), Number(r.Matched[1])}, Sensor: each(c.Sensor, figureOf), Force: each(c.Force, forceOf),
		Tests: each(c.Tests, testPairOf), Codes: each(c.Codes, codePairOf), Freeze: [2]*Freeze{freezeOf(c.Freeze[0]), freezeOf(c.Freeze[1])},
		Open: [2][]string{list(c.Open[0]), list(c.Open[1])}, Done: list(c.Done), Limits: words.CompareLimits(c.Limits)}
	if r.Overall != nil {
		o := changeOf(*r.Overall)
		j.Overall = &o
	}
	return j
}

func changeOf(c compare.Change) Change {
	return Change{Count: [2]int{c.Before.Count, c.After.Count}, Mean: [2]Number{Number(c.Before.Mean), Number(c.After.Mean)},
		Diff: c.Diff, Nearer: c.Nearer, Answer: c.Answer, Shifted: c.Shifted}
}

func cellChangeOf(c compare.Change) Change {
	j := changeOf(c)
	rpm, load := between(trimmap.SpeedEdges, c.Speed), between(trimmap.LoadEdges, c.Load)
	j.Bank, j.Warming, j.RPM, j.Load = c.Bank, c.Warming, &rpm, &load
	return j
}

func figureOf(f compare.Figure) Figure {
	return Figure{f.Band + ": " + f.What, f.Unit, Number(f.Before), Number(f.After), f.Diff, f.Answer}
}

func forceOf(p dossier.ForcePair) ForcePair {
	return ForcePair{words.ForceName(p), p.Sensor, words.ForceText(p.What, p.Before), words.ForceText(p.What, p.After), p.Answer}
}

func testPairOf(p dossier.TestPair) TestPair {
	of := func(t *dossier.OwnTest) *OwnTest {
		if t == nil {
			return nil
		}
		j := testOf(*t)
		return &j
	}
	return TestPair{p.Of().ID(), of(p.Before), of(p.After), p.Change}
}

func codePairOf(p dossier.CodePair) CodePair {
	return CodePair{p.Code.Code, p.State, p.Change, words.TroubleCode(p.Code.Code), p.ByTest}
}

// WriteComparison prints a comparison of the sessions with these ids.
func WriteComparison(w io.Writer, before, after []string, c dossier.Comparison) {
	fmt.Fprintf(w, "before %s, after %s\n\n%s: %s.\n", strings.Join(before, ", "), strings.Join(after, ", "), words.CompareAnswer(c.Trims, c.Different()), answerWhy(c))
	writeChanges(w, c.Trims)
	writeRows(w, []string{"sensor at rest (no test running)", "before", "after", "difference (95 %)", ""}, c.Sensor, func(f compare.Figure) ([]string, bool) {
		cells, ok := words.SensorRow(f)
		return cells, ok && f.Answer != compare.NotComparable
	})
	if slices.ContainsFunc(c.Sensor, func(f compare.Figure) bool { return f.Answer == compare.NotComparable }) {
		fmt.Fprintln(w, "  other sensor figures can't be compared: not measured on both sides, or for less than a minute of idle or of 2000 to 2500 rpm")
	}
	writeRows(w, []string{"bias test", "before", "after", ""}, c.Force, func(p dossier.ForcePair) ([]string, bool) { return words.ForceRow(p), true })
	writeRows(w, []string{"the ECM's own tests", "before", "after", ""}, c.Tests, words.TestRow)
	if len(c.Codes) > 0 {
		fmt.Fprintln(w, "\ncodes")
	}
	for _, p := range c.Codes {
		fmt.Fprintf(w, "  %-6s %s\n", p.Change, words.CodeText(p.Code))
	}
	for i, f := range c.Freeze {
		if f != nil {
			fmt.Fprintf(w, "%s: ", sideNames[i])
			writeFreeze(w, f)
		}
	}
	if len(c.Done) > 0 {
		fmt.Fprintf(w, "monitors finished since: %s\n", strings.Join(c.Done, ", "))
	}
	for i, open := range c.Open {
		if len(open) > 0 {
			fmt.Fprintf(w, "%s: monitors not complete: %s\n", sideNames[i], strings.Join(open, ", "))
		}
	}
	for _, l := range words.CompareLimits(c.Limits) {
		fmt.Fprintf(w, "! %s\n", l)
	}
}

// answerWhy is the reason of the answer; of two vehicles there is none to give.
func answerWhy(c dossier.Comparison) string {
	if !c.Different() {
		return why.Text(c.Trims.Why)
	}
	for _, l := range c.Limits {
		if l.ID == dossier.LimitVehicles {
			return words.CompareLimit(l)
		}
	}
	return ""
}

var sideNames = [2]string{"before", "after"}

func writeChanges(w io.Writer, r compare.Result) {
	if len(r.Cells) == 0 {
		return
	}
	fmt.Fprintln(w, "\ntotal trim, %, matching conditions only (95 % intervals)")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  bank\trpm\tload %\treadings\tbefore\tafter\tdifference\t")
	row := func(what string, x compare.Change, word string) {
		fmt.Fprintf(tw, "  %s\t%d, %d\t%s\t%s\t%s\t%s\n", what, x.Before.Count, x.After.Count, words.Signed(x.Before.Mean, 1), words.Signed(x.After.Mean, 1), words.DifferenceCell(x), word)
	}
	for _, x := range r.Cells {
		word := ""
		switch {
		case x.Answer != compare.NoDifference:
			word = string(x.Answer)
		case x.Shifted:
			word = "shifted"
		}
		if x.Warming {
			word = strings.TrimSpace("still warming " + word)
		}
		row(fmt.Sprintf("%d\t%s\t%s", x.Bank, words.EdgeText(trimmap.SpeedEdges, x.Speed), words.EdgeText(trimmap.LoadEdges, x.Load)), x, word)
	}
	if o := r.Overall; o != nil {
		row("all\t\t", *o, "")
	}
	tw.Flush()
}

// writeRows prints the rows that count under their heads; nothing where none does.
func writeRows[T any](w io.Writer, heads []string, of []T, row func(T) ([]string, bool)) {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	begun := false
	for _, x := range of {
		cells, ok := row(x)
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
