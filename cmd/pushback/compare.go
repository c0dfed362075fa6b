package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
	"pushback/store"
)

func newCompare(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "Before and after a repair, condition by condition",
		Long: `Compares total trim under the same conditions (speed × load, warm), then the sensor's
switching, the force test's answers, the computer's own tests, trouble codes with their
freeze frame, and monitors. Each of BEFORE and AFTER is a session, or several with commas
between them; all but trims is of the last one.

The answer is better (trim is nearer to zero), worse, no difference shown, or not
comparable. Differences that one unchanged car shows from recording to recording are
never called a repair: less than about 6 % cannot be told with one session on each side, less
than about 3.5 % with three on each. A figure of the sensor's switching differs where it
does by more than the recordings scatter and a margin; a latency where its intervals lie
more than a period of switching apart.`,
		Args: named("BEFORE", "AFTER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				before, err := gatherAll(cmd.Context(), db, args[0])
				if err != nil {
					return err
				}
				after, err := gatherAll(cmd.Context(), db, args[1])
				if err != nil {
					return err
				}
				c := compared(before, after)
				if a.json {
					return json.NewEncoder(a.out).Encode(c)
				}
				c.print(a.out)
				return nil
			})
		},
	}
}

func gatherAll(ctx context.Context, db *store.Store, refs string) ([]*evidence, error) {
	var out []*evidence
	for _, ref := range strings.Split(refs, ",") {
		e, err := gather(ctx, db, strings.TrimSpace(ref))
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

// comparison is the JSON of `compare`.
type comparison struct {
	Before  []string       `json:"before"`
	After   []string       `json:"after"`
	Answer  compare.Answer `json:"answer"`
	Why     string         `json:"why"`
	Shifted bool           `json:"shifted"` // trims moved, whether nearer to zero or not
	Overall *changeJSON    `json:"overall"` // null: nothing matched
	Cells   []changeJSON   `json:"conditions"`
	Matched [2]number      `json:"matched_share"` // of the readings before and after
	Sensor  []figureJSON   `json:"switching"`
	Force   []forcePair    `json:"force_test"`
	Tests   []testPair     `json:"own_tests"`
	Codes   []codeChange   `json:"codes"`
	Freeze  [2]*freezeJSON `json:"freeze_frame"` // null: none
	Open    [2][]string    `json:"monitors_not_complete"`
	Done    []string       `json:"monitors_finished"` // open before, complete after
	Limits  []string       `json:"limits"`
}

type changeJSON struct {
	Bank    int              `json:"bank,omitempty"`
	RPM     *[2]number       `json:"rpm,omitempty"`
	Load    *[2]number       `json:"load_pct,omitempty"`
	Warming bool             `json:"warming,omitempty"`
	Count   [2]int           `json:"count"`
	Mean    [2]number        `json:"mean_pct"`
	Diff    trimmap.Interval `json:"difference_pct"`
	Nearer  trimmap.Interval `json:"distance_change_pct"`
	Answer  compare.Answer   `json:"answer"`
	Shifted bool             `json:"shifted"`
}

type figureJSON struct {
	What   string           `json:"what"`
	Unit   string           `json:"unit"`
	Before number           `json:"before"` // null: not measured
	After  number           `json:"after"`
	Diff   trimmap.Interval `json:"difference"`
	Answer compare.Answer   `json:"answer"`
}

type codeChange struct {
	Code    string `json:"code"`
	State   string `json:"state"`
	Change  string `json:"change"` // gone, new, still
	Meaning string `json:"meaning"`
	ByTest  bool   `json:"by_test"` // set while the second test ran, so by the test
}

func changeOf(c compare.Change) changeJSON {
	return changeJSON{Count: [2]int{c.Before.Count, c.After.Count}, Mean: [2]number{number(c.Before.Mean), number(c.After.Mean)},
		Diff: c.Diff, Nearer: c.Nearer, Answer: c.Answer, Shifted: c.Shifted}
}

func compared(before, after []*evidence) comparison {
	trims := func(side []*evidence) (out [][]trimmap.Reading) {
		for _, e := range side {
			out = append(out, e.trims.Data(e.forced, 0).Readings)
		}
		return out
	}
	ids := func(side []*evidence) (out []string) {
		for _, e := range side {
			out = append(out, e.meta.ID)
		}
		return out
	}
	r := compare.Trims(trims(before), trims(after))
	c := comparison{Before: ids(before), After: ids(after), Answer: r.Answer, Why: r.Why, Shifted: r.Shifted,
		Cells: []changeJSON{}, Matched: [2]number{number(r.Matched[0]), number(r.Matched[1])}, Codes: []codeChange{}, Limits: []string{}}
	for _, x := range r.Cells {
		j := changeOf(x)
		s, l := trimmap.SpeedEdges, trimmap.LoadEdges
		j.Bank, j.Warming = x.Bank, x.Warming
		j.RPM = &[2]number{number(s[x.Speed]), number(s[x.Speed+1])}
		j.Load = &[2]number{number(l[x.Load]), number(l[x.Load+1])}
		c.Cells = append(c.Cells, j)
	}
	if r.Overall != nil {
		j := changeOf(*r.Overall)
		c.Overall = &j
	}
	// The rest is of the last session on each side: the state that counts.
	b, a := before[len(before)-1], after[len(after)-1]
	c.Sensor = []figureJSON{}
	bands := [2][]switching.Band{b.bands(), a.bands()}
	for _, f := range compare.Switching(bands[0], bands[1]) {
		c.Sensor = append(c.Sensor, figureJSON{f.Band + ": " + f.What, f.Unit, number(f.Before), number(f.After), f.Diff, f.Answer})
	}
	c.Force = forcePairs(b, a, slowest(bands))
	c.Tests = testPairs(b, a)
	c.Freeze = [2]*freezeJSON{freezeOf(b.Freeze), freezeOf(a.Freeze)}
	c.Codes = codeChanges(b, a)
	c.Open, c.Done = [2][]string{openMonitors(b), openMonitors(a)}, finished(b.Readiness, a.Readiness)
	c.limits(b, a, r)
	return c
}

func codeChanges(b, a *evidence) []codeChange {
	out := []codeChange{}
	for _, state := range []string{"stored", "pending", "permanent"} {
		was, read := b.Codes[state]
		is, readToo := a.Codes[state]
		if !read && !readToo {
			continue
		}
		all := slices.Concat(was, is)
		slices.Sort(all)
		for _, code := range slices.Compact(all) {
			change := "still"
			switch {
			case !slices.Contains(is, code) && readToo:
				change = "gone"
			case !slices.Contains(is, code):
				change = "not read again"
			case !slices.Contains(was, code) && read:
				change = "new"
			}
			byTest := slices.ContainsFunc(a.events, func(v analysis.Event) bool { return v.Name == analysis.CodeSet && v.Code == code })
			out = append(out, codeChange{code, state, change, words.TroubleCode(code), byTest})
		}
	}
	return out
}

func openMonitors(e *evidence) []string {
	if e.Readiness == nil {
		return []string{}
	}
	return some(e.Readiness.Incomplete())
}

func (c *comparison) limits(b, a *evidence, r compare.Result) {
	say := func(format string, args ...any) { c.Limits = append(c.Limits, fmt.Sprintf(format, args...)) }
	if r.Answer != compare.NotComparable && min(r.Matched[0], r.Matched[1]) < 0.5 {
		say("only %.0f %% of the readings before and %.0f %% after lie in conditions that both have", 100*r.Matched[0], 100*r.Matched[1])
	}
	if slices.ContainsFunc(c.Codes, func(x codeChange) bool { return x.Change == "gone" }) {
		say("a code that is gone proves no repair: it may have been cleared")
	}
	if a.Readiness != nil && len(c.Open[1]) > 0 {
		say("the computer has not finished its own tests since (%s)", strings.Join(c.Open[1], ", "))
	}
	if b.meta.Vehicle != "" && a.meta.Vehicle != "" && b.meta.Vehicle != a.meta.Vehicle {
		say("the sessions name different vehicles: %s and %s", printable(b.meta.Vehicle), printable(a.meta.Vehicle))
	}
	if b.meta.Watching != a.meta.Watching {
		say("different sensors were watched: %s and %s", b.meta.Watching, a.meta.Watching)
	}
}

var answerWords = map[compare.Answer]string{
	compare.Better: "BETTER", compare.Worse: "WORSE", compare.NoDifference: "NO DIFFERENCE SHOWN", compare.NotComparable: "NOT COMPARABLE",
}

func (c comparison) words() string {
	if c.Answer == compare.NoDifference && c.Shifted {
		return "NEITHER BETTER NOR WORSE, BUT MOVED"
	}
	return answerWords[c.Answer]
}

func (c comparison) print(w io.Writer) {
	fmt.Fprintf(w, "before %s, after %s\n\n%s: %s.\n", strings.Join(c.Before, ", "), strings.Join(c.After, ", "), c.words(), c.Why)
	if len(c.Cells) > 0 {
		fmt.Fprintln(w, "\ntotal trim, %, where both were driven (95 % intervals)")
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(tw, "  bank\trpm\tload %\treadings\tbefore\tafter\tdifference\t")
		for _, x := range c.Cells {
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
			fmt.Fprintf(tw, "  %d\t%s\t%s\t%d, %d\t%+.1f\t%+.1f\t%+.1f (%+.1f to %+.1f)\t%s\n", x.Bank, from(*x.RPM), from(*x.Load),
				x.Count[0], x.Count[1], x.Mean[0], x.Mean[1], x.Diff.Value, x.Diff.Lo, x.Diff.Hi, word)
		}
		if o := c.Overall; o != nil {
			fmt.Fprintf(tw, "  all\t\t\t%d, %d\t%+.1f\t%+.1f\t%+.1f (%+.1f to %+.1f)\t\n", o.Count[0], o.Count[1], o.Mean[0], o.Mean[1], o.Diff.Value, o.Diff.Lo, o.Diff.Hi)
		}
		tw.Flush()
	}
	c.printSensor(w)
	c.printForce(w)
	c.printTests(w)
	if len(c.Codes) > 0 {
		fmt.Fprintln(w, "\ncodes")
	}
	for _, x := range c.Codes {
		fmt.Fprintf(w, "  %-6s %s\n", x.Change, codeText(codeReport{Code: x.Code, State: x.State, Meaning: x.Meaning, ByTest: x.ByTest}))
	}
	for i, f := range c.Freeze {
		if f != nil {
			fmt.Fprintf(w, "%s: ", [2]string{"before", "after"}[i])
			writeFreeze(w, f)
		}
	}
	if len(c.Done) > 0 {
		fmt.Fprintf(w, "monitors finished since: %s\n", strings.Join(c.Done, ", "))
	}
	for i, open := range c.Open {
		if len(open) > 0 {
			fmt.Fprintf(w, "%s: monitors not complete: %s\n", [2]string{"before", "after"}[i], strings.Join(open, ", "))
		}
	}
	for _, l := range c.Limits {
		fmt.Fprintf(w, "! %s\n", l)
	}
}

func from(r [2]number) string {
	if math.IsInf(float64(r[1]), 1) {
		return fmt.Sprintf("%.0f+", float64(r[0]))
	}
	return fmt.Sprintf("%.0f-%.0f", float64(r[0]), float64(r[1]))
}
