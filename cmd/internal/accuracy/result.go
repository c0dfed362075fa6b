package accuracy

import (
	"context"
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
	"pushback/obd/simcar"
)

// Result is what one trial came to, of whatever model.
type Result struct {
	Seed        uint64
	Case        string // what was wrong with the car, and what was done
	Rate        float64
	Marked      bool
	Outcome     truth.Outcome
	Said        string
	FalseProofs []string
	Decided     int     // proofs that were called proven or failed
	Held        int     // stated latency intervals that hold the truth
	Intervals   int     // all of them that the truth is known of
	Missed      int     // forces not seen
	Forces      int     // all of them
	FalseForces int     // told by the events where none was
	Hours       float64 // of driving without a force
	Proper      bool    // of a guided test: both sides of a sound car were held and released as they should be
	Worse       bool    // and: with nothing tapped it would have been right
	Guide       *GuideFigures
	Ring        *RingFigures // of a wide-range sensor
	Looked      Looked
	Err         error
}

// Looked is what was found beside the truth.
type Looked struct {
	Stated []Stated // odds of a force, beside what was
	Causes []Cause
	Aside  int // forces told in pieces, or begun so far off that they do not count as seen
}

// near is how far from the truth, in s, a force's beginning may be told and still be of that force.
const near = 4

// Judge runs a recording through the path that a replay takes, and compares.
func Judge(t *truth.Test, src session.Source) Result {
	r := Result{Seed: t.Seed, Case: t.Fault, Rate: t.Rate, Marked: t.Marks, Hours: t.Hours, Outcome: truth.Broken}
	if t.Style != "" {
		r.Case += ", " + t.Style
	}
	setup, err := session.NewSetup(t.Sensor, t.By, obd.Format{})
	if err != nil {
		r.Err = err
		return r
	}
	j := session.NewJudge(setup)
	seen := readingsOf(t, setup.Sensor)
	res, err := session.Run(context.Background(), src, j, seen)
	if err != nil {
		r.Err = err
		return r
	}
	r.compare(t, res)
	r.Looked.Stated = stated(t, j.Weighed())
	if t.Hours == 0 {
		r.Looked.Causes = r.causes(t, res, seen, j.Weighed())
	}
	return r
}

func (r *Result) compare(t *truth.Test, res session.Result) {
	r.Said = string(res.Verdict.Conclusion)
	r.Outcome = t.Outcome(r.Said)
	for _, p := range res.Verdict.Proofs {
		if p.State == analysis.Proven || p.State == analysis.Failed {
			r.Decided++
		}
		if t.IsFalse(string(p.ID), string(p.State)) {
			r.FalseProofs = append(r.FalseProofs, fmt.Sprintf("%s=%s", p.ID, p.State))
		}
	}
	if t.Wide != nil {
		r.Ring = figuresOf(res.Verdict, *t.Wide, math.NaN())
		r.Ring.Tried = t.By == string(analysis.ByMixture)
	}
	if t.Hours > 0 {
		r.FalseForces = falseEvents(res.Events)
		return
	}
	seen := make([]*told, len(t.Forces))
	list := toldForces(t.Forces, res.Events, res.End.Seconds())
	for i := range list {
		switch x := &list[i]; {
		case x.of < 0:
			r.FalseForces++
		case !x.near:
			r.Looked.Aside++
		case seen[x.of] == nil:
			seen[x.of] = x
		}
	}
	for k, f := range t.Forces {
		if !f.Faint {
			r.Forces++
		}
		switch {
		case seen[k] == nil && !f.Faint:
			r.Missed++
		case seen[k] != nil && f.Told > 0:
			r.latency(t, f, seen[k], res.Events)
		}
	}
}

// latency compares the stated interval of the answer to a force. What the port shows is
// refreshed now and then, so the truth is an interval too: from the command until it was told. A mixture takes its way
// to the sensor, which the loop cannot know of: it is given the time from when the watcher saw it begin.
func (r *Result) latency(t *truth.Test, f truth.Force, seen *told, events []analysis.Event) {
	way := 0.0
	if t.By == string(analysis.ByMixture) {
		way = seen.begin - f.Begin
	}
	for _, e := range events {
		if e.Name != analysis.LoopAnswers || string(e.Side) != f.Side || e.T < seen.begin-near || e.T > f.End {
			continue
		}
		r.Intervals++
		if e.AfterMin <= max(0, f.Told-way)+1e-3 && e.AfterMax >= max(0, f.Commanded-way)-1e-3 {
			r.Held++
		}
		return
	}
}

// ofTrial makes a result of a simulated trial.
func ofTrial(t Trial) Result {
	r := Result{Seed: t.Seed, Case: t.Expected.Fault, Rate: t.Rate, Marked: t.Marked, Said: string(t.Verdict.Conclusion), Err: t.Err}
	if t.Err != nil {
		r.Outcome = truth.Broken
		return r
	}
	r.Outcome = truth.Right
	if t.Wrong() {
		r.Outcome = truth.Wrong
	} else if t.Undecided() {
		r.Outcome = truth.Undecided
	}
	wrong, decided := ProofsWrong(t)
	for _, id := range analysis.ProofOrder {
		if wrong[id] > 0 {
			r.FalseProofs = append(r.FalseProofs, string(id))
		}
	}
	r.Decided = decided
	if t.Wide != nil {
		r.Ring = figuresOf(t.Verdict, ofWideTruth(t.Wide), t.Wide.Delay)
		r.Ring.Tried = t.Wide.By == string(analysis.ByMixture) && t.Expected.Conclusion != string(analysis.SensorDead) && t.Expected.Conclusion != string(analysis.ConclusionNotReady)
		r.Case += ", " + t.Wide.By
	}
	if len(t.Truth) == 0 {
		r.Hours, r.FalseForces = t.Expected.Length.Hours(), FalseEvents(t)
		return r
	}
	var c Tally
	c.match(t)
	r.Held, r.Intervals, r.Missed, r.Forces = c.Held, c.Intervals, c.Missed, c.Forces
	if t.Wide == nil {
		r.imagined(t)
	}
	return r
}

// imagined counts the forces that were told of a simulated trial by wire or by mixture and were none, or in pieces.
func (r *Result) imagined(t Trial) {
	sides := map[simcar.ForceKind]string{simcar.ForceLean: "lean", simcar.ForceVacuum: "lean", simcar.ForceRich: "rich", simcar.ForcePropane: "rich"}
	var forces []truth.Force
	for _, f := range t.Truth {
		forces = append(forces, truth.Force{Side: sides[f.Kind], Begin: f.Begin.Seconds(), End: f.End.Seconds()})
	}
	for _, x := range toldForces(forces, t.Events, t.Expected.Length.Seconds()) {
		switch {
		case x.of < 0:
			r.FalseForces++
		case !x.near:
			r.Looked.Aside++
		}
	}
}

// Sum is what a table's row says of a model.
type Sum struct {
	N, Wrong, Undecided, Broken, Right int
	FalseProofs, Decided               int
	Held, Intervals                    int
	Missed, Forces                     int
	Imagined                           int // tests in which a force was seen that was not
	Aside                              int // tests in which one was told in pieces, or begun far off
	FalseForces                        int // in Hours
	Hours                              float64
}

// SumOf adds up results.
func SumOf(results []Result) Sum {
	var s Sum
	for _, r := range results {
		if r.Hours > 0 {
			s.Hours += r.Hours
			s.FalseForces += r.FalseForces
			continue
		}
		s.N++
		switch r.Outcome {
		case truth.Right:
			s.Right++
		case truth.Undecided:
			s.Undecided++
		case truth.Wrong:
			s.Wrong++
		default:
			s.Broken++
		}
		if r.FalseForces > 0 {
			s.Imagined++
		}
		if r.Looked.Aside > 0 {
			s.Aside++
		}
		s.FalseProofs += len(r.FalseProofs)
		s.Decided += r.Decided
		s.Held += r.Held
		s.Intervals += r.Intervals
		s.Missed += r.Missed
		s.Forces += r.Forces
	}
	return s
}

// Table prints a row a model, all shares in per cent with Wilson's 95 % interval, rates with
// Garwood's. Details of single trials are printed by PrintWrongs alone.
type Table struct{ w *tabwriter.Writer }

// NewTable begins a table with its header.
func NewTable(w io.Writer) *Table {
	t := &Table{tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)}
	fmt.Fprintln(t.w, "model\tseeds\tn\twrong %\tundecided %\tfalse proofs, % of decided\tintervals that hold, %\tforces not seen %\ttests with one that was not %\twith one in pieces or 4 s off %\tfalse forces in 100 h of driving")
	return t
}

// Row adds the results of a model, all of them and then with marks and without.
func (t *Table) Row(name, seeds string, results []Result) {
	var with, without []Result
	for _, r := range results {
		if r.Hours > 0 {
			continue
		}
		if r.Marked {
			with = append(with, r)
		} else {
			without = append(without, r)
		}
	}
	t.row(name, seeds, SumOf(results))
	if len(with) > 0 && len(without) > 0 {
		t.row("  with marks", "", SumOf(with))
		t.row("  without", "", SumOf(without))
	}
	t.guided(results)
}

// guided adds what is asked of guided tests beside their verdicts.
func (t *Table) guided(results []Result) {
	var proper []Result
	var worse, dark, arcs, missing, again, steps, right, n int
	for _, r := range results {
		g := r.Guide
		if g == nil {
			continue
		}
		n++
		if r.Proper {
			proper = append(proper, r)
		}
		if r.Worse {
			worse++
		}
		dark, arcs = dark+g.Dark, arcs+g.Lit
		count := func(is bool, k *int) {
			if is {
				*k++
			}
		}
		count(g.Missing, &missing)
		count(g.Missing && g.Again, &again)
		count(g.Step != "", &steps)
		count(g.Step != "" && g.StepRight, &right)
	}
	if n == 0 {
		return
	}
	t.row("  sound, both sides held properly", "", SumOf(proper))
	for _, line := range []struct {
		what string
		k, n int
	}{
		{"worse than with nothing tapped", worse, n},
		{"arcs that were lit and went dark without a word", dark, arcs},
		{"asked again, or said why not, where a side was missing and the verdict open", again, missing},
		{"verdicts left open that name a step that would decide", right, steps},
	} {
		fmt.Fprintf(t.w, "  %s\t\t%d\t%s\n", line.what, line.n, brief(line.k, line.n))
	}
}

func (t *Table) row(name, seeds string, s Sum) {
	n := s.N - s.Broken
	fmt.Fprintf(t.w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", name, seeds, s.N, brief(s.Wrong, n), brief(s.Undecided, n), brief(s.FalseProofs, s.Decided),
		brief(s.Held, s.Intervals), brief(s.Missed, s.Forces), brief(s.Imagined, n), brief(s.Aside, n), perHours(s.FalseForces, s.Hours))
	if s.Broken > 0 {
		fmt.Fprintf(t.w, "  broken off\t\t%d\n", s.Broken)
	}
}

// Close ends the table.
func (t *Table) Close() error { return t.w.Flush() }

func brief(k, n int) string {
	if n == 0 {
		return "-"
	}
	lo, hi := wilson(k, n)
	return fmt.Sprintf("%.1f (%.1f to %.1f)", 100*float64(k)/float64(n), 100*lo, 100*hi)
}

// perHours is a count in 100 hours with the exact interval of Poisson's law (F. Garwood,
// Biometrika 28, 1936).
func perHours(k int, hours float64) string {
	if hours == 0 {
		return "-"
	}
	lo, hi := garwood(k)
	return fmt.Sprintf("%.1f (%.1f to %.1f), of %.0f h", 100*float64(k)/hours, 100*lo/hours, 100*hi/hours, hours)
}

// garwood returns the 95 % interval of the mean of a Poisson count k.
func garwood(k int) (lo, hi float64) {
	// below is the chance of at most n at mean m.
	below := func(n int, m float64) float64 {
		sum := 0.0
		for i := 0; i <= n; i++ {
			lg, _ := math.Lgamma(float64(i + 1))
			sum += math.Exp(float64(i)*math.Log(m) - m - lg)
		}
		return sum
	}
	find := func(beyond func(m float64) bool) float64 {
		a, b := 1e-9, 10+3*float64(k+1)
		for range 100 {
			if m := (a + b) / 2; beyond(m) {
				b = m
			} else {
				a = m
			}
		}
		return (a + b) / 2
	}
	hi = find(func(m float64) bool { return below(k, m) < 0.025 })
	if k > 0 {
		lo = find(func(m float64) bool { return 1-below(k-1, m) > 0.025 })
	}
	return lo, hi
}

// PrintWrongs lists the trials that were not right, for models that may be looked into.
func PrintWrongs(w io.Writer, results []Result) {
	for _, r := range results {
		guide := r.Guide.wrongs()
		if r.Outcome != truth.Right || len(r.FalseProofs) > 0 || r.FalseForces > 0 || guide != "" {
			more := ""
			if r.Worse {
				more += ", worse than with nothing tapped"
			}
			if r.Proper {
				more += ", held properly"
			}
			more += guide
			fmt.Fprintf(w, "%s: seed %d, %s at %.1f readings/s, marks %v: said %s; false: %v, forces that were not: %d%s %v\n",
				r.Outcome, r.Seed, r.Case, r.Rate, r.Marked, r.Said, r.FalseProofs, r.FalseForces, more, errText(r.Err))
		}
	}
}

func errText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
