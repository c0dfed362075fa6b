package accuracy

import (
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"pushback/analysis"
	"pushback/obd/simcar"
)

// Many runs the trials with seeds from … from+n-1, half of them with marks, and
// returns them in order of seed.
func Many(from uint64, n int, progress func(done int)) []Trial {
	return each(n, progress, func(i int) Trial { return ByWire(from + uint64(i)) })
}

// ByWire runs the trial of a seed; even seeds have marks.
func ByWire(seed uint64) Trial {
	cfg, exp := simcar.Random(seed)
	return Run(cfg, exp, seed%2 == 0)
}

// Wide runs the trial of a seed on a car with wide-range sensors, half of them with marks.
func Wide(seed uint64) Trial {
	cfg, exp, truth := simcar.RandomWide(seed)
	t := runBy(cfg, exp, seed%2 == 0, truth.By)
	t.Wide = &truth
	return t
}

// ManyWide runs n of them.
func ManyWide(from uint64, n int, progress func(done int)) []Trial {
	return each(n, progress, func(i int) Trial { return Wide(from + uint64(i)) })
}

// ByMixture runs the same car with the mixture forced in place of the wire, every other with marks.
func ByMixture(seed uint64) Trial {
	cfg, exp := simcar.Random(seed)
	for k := range cfg.Forces {
		f := &cfg.Forces[k]
		kind := simcar.ForcePropane
		if f.Kind == simcar.ForceLean {
			kind = simcar.ForceVacuum
		}
		*f = simcar.Force{Kind: kind, At: f.At, For: f.For}
	}
	switch exp.Fault {
	case "sensor stuck lean", "sensor stuck rich", "sensor flat", "input dead", "wire open, computer side", "wire open, sensor side":
		// No wire is held: that nothing is read may be the sensor's fault, its wire's or the input's.
		exp.Conclusion = string(analysis.ConclusionUnclear)
		exp.Also = append(exp.Also, string(analysis.NothingForced)) // where nobody says so, nothing shows that anything was moved
	case "wide-range sensor": // the wire alone is not to be held
		exp.Conclusion = string(analysis.LoopProven)
		exp.Also = append(exp.Also, string(analysis.PartlyProven), string(analysis.ConclusionUnclear))
	case "banks crossed": // the mixture reaches both
		exp.Conclusion = string(analysis.ConclusionUnclear)
	}
	return Run(cfg, exp, seed%2 == 0)
}

// Mixed runs trials in which the mixture is forced in place of the wire, every other with
// marks: propane for a rich force, induced lean for a lean one.
func Mixed(from uint64, n int, progress func(done int)) []Trial {
	return each(n, progress, func(i int) Trial { return ByMixture(from + uint64(i)) })
}

// Unforced runs cars that nobody forces, an hour each: idle, fast idle and town
// driving with everything that disturbs the mixture.
func Unforced(from uint64, hours int, progress func(done int)) []Trial {
	return unforced(from, hours, analysis.ByWire, progress)
}

// UnforcedMixed is Unforced where a test by mixture is looked for.
func UnforcedMixed(from uint64, hours int, progress func(done int)) []Trial {
	return unforced(from, hours, analysis.ByMixture, progress)
}

func unforced(from uint64, hours int, by analysis.By, progress func(done int)) []Trial {
	return each(hours, progress, func(i int) Trial {
		seed := from + uint64(i)
		cfg := simcar.RandomSound(seed)
		drive := drives[i%len(drives)]
		cfg.Drive = drive.how
		cfg.Busy = true
		return runBy(cfg, simcar.Expected{Fault: drive.name, Conclusion: string(analysis.NothingForced), Length: time.Hour}, false, string(by))
	})
}

// drives are how the hours that nobody forces are driven, with all that disturbs the mixture.
var drives = []struct {
	name string
	how  simcar.Drive
}{{"idle", simcar.Idle}, {"fast idle", simcar.Fast}, {"town", simcar.Town}, {"town", simcar.Town}}

func each[T any](n int, progress func(int), one func(i int) T) []T {
	out := make([]T, n)
	var wg sync.WaitGroup
	var mu sync.Mutex
	next, done := 0, 0
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= n {
					return
				}
				out[i] = one(i)
				mu.Lock()
				done++
				if progress != nil {
					progress(done)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return out
}

// wilson returns the 95 % interval of a share of k in n (Wilson, Journal of the
// American Statistical Association 22, 1927).
func wilson(k, n int) (lo, hi float64) {
	if n == 0 {
		return 0, 1
	}
	const z = 1.959964
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, mid-half), min(1, mid+half)
}

func share(k, n int) string {
	lo, hi := wilson(k, n)
	return fmt.Sprintf("%d of %d = %.2f %% (95 %%: %.2f to %.2f)", k, n, 100*float64(k)/float64(max(n, 1)), 100*lo, 100*hi)
}

// broken says which links of the ring a fault really breaks. All others are whole, but
// for those under cloudy, which the fault keeps anyone from knowing.
var broken = map[string]struct{ links, cloudy []analysis.ProofID }{
	"input dead":               {[]analysis.ProofID{analysis.ProofInput}, nil},
	"wire open, computer side": {[]analysis.ProofID{analysis.ProofInput}, nil},
	"wire open, sensor side":   {[]analysis.ProofID{analysis.ProofSensorRich, analysis.ProofSensorLean}, []analysis.ProofID{analysis.ProofRecovery}},
	"sensor flat":              {[]analysis.ProofID{analysis.ProofSensorRich, analysis.ProofSensorLean}, []analysis.ProofID{analysis.ProofRecovery}},
	"sensor stuck lean":        {[]analysis.ProofID{analysis.ProofSensorRich}, []analysis.ProofID{analysis.ProofSensorLean, analysis.ProofRecovery}},
	"sensor stuck rich":        {[]analysis.ProofID{analysis.ProofSensorLean}, []analysis.ProofID{analysis.ProofSensorRich, analysis.ProofRecovery}},
	"trim frozen":              {[]analysis.ProofID{analysis.ProofAddsFuel, analysis.ProofCutsFuel}, []analysis.ProofID{analysis.ProofRecovery}},
	"never adds":               {[]analysis.ProofID{analysis.ProofAddsFuel}, []analysis.ProofID{analysis.ProofRecovery}},
	"never cuts":               {[]analysis.ProofID{analysis.ProofCutsFuel}, []analysis.ProofID{analysis.ProofRecovery}},
	"fuel not delivered":       {[]analysis.ProofID{analysis.ProofDelivery}, []analysis.ProofID{analysis.ProofRecovery}},
	"banks crossed":            {[]analysis.ProofID{analysis.ProofBank}, []analysis.ProofID{analysis.ProofInput, analysis.ProofAddsFuel, analysis.ProofCutsFuel, analysis.ProofRecovery}},
	"pump wire open":           {[]analysis.ProofID{analysis.ProofSensorRich, analysis.ProofSensorLean}, []analysis.ProofID{analysis.ProofRecovery}},
	"half blind":               {[]analysis.ProofID{analysis.ProofScale}, nil},
	"both banks":               {[]analysis.ProofID{analysis.ProofScale}, nil},
	"offset":                   {nil, []analysis.ProofID{analysis.ProofScale}},
	"leak beyond authority":    {nil, []analysis.ProofID{analysis.ProofRecovery}},
	"monitor trips":            {nil, []analysis.ProofID{analysis.ProofRecovery}},
}

// ProofsWrong counts the proofs that are called proven where the link is broken, or failed
// where it is whole, and those that were decided at all.
func ProofsWrong(t Trial) (wrong map[analysis.ProofID]int, decided int) {
	wrong = map[analysis.ProofID]int{}
	b := broken[t.Expected.Fault]
	for _, p := range t.Verdict.Proofs {
		if p.State != analysis.Proven && p.State != analysis.Failed || slices.Contains(b.cloudy, p.ID) {
			continue
		}
		decided++
		if (p.State == analysis.Proven) == slices.Contains(b.links, p.ID) {
			wrong[p.ID]++
		}
	}
	return wrong, decided
}

// Tally counts what trials came to.
type Tally struct {
	Trials, Failed          int // Failed: the session itself broke off
	Wrong, Undecided        int
	WrongAt2, N2            int       // at 2 readings/s and more
	UndecidedMarked, Marked int       // with marks, at 2 readings/s and more
	Held, Intervals         int       // stated latency intervals that hold the truth
	Begins, Ends            []float64 // |error| of force times, in intervals between readings
	Missed, Forces          int
	Wrongs                  []Trial
}

// Count adds up trials.
func Count(trials []Trial) Tally {
	var c Tally
	for _, t := range trials {
		c.Trials++
		if t.Err != nil {
			c.Failed++
			continue
		}
		fast := t.Rate >= 2
		if fast {
			c.N2++
		}
		if t.Wrong() {
			c.Wrong++
			c.Wrongs = append(c.Wrongs, t)
			if fast {
				c.WrongAt2++
			}
		}
		if t.Undecided() {
			c.Undecided++
		}
		if t.Marked && fast {
			c.Marked++
			if t.Undecided() {
				c.UndecidedMarked++
			}
		}
		c.match(t)
	}
	return c
}

// match compares the events of a trial with what really happened.
func (c *Tally) match(t Trial) {
	for _, f := range t.Truth {
		if hidden(t, f) {
			continue
		}
		c.Forces++
		side := analysis.Lean
		if f.Kind == simcar.ForceRich || f.Kind == simcar.ForcePropane {
			side = analysis.Rich
		}
		begin, end := f.Begin.Seconds(), f.End.Seconds()
		if f.Kind == simcar.ForceRev { // the cut begins where the throttle is let go
			begin, end = end, end+8
		}
		var seen, answered *analysis.Event
		for i := range t.Events {
			e := &t.Events[i]
			switch {
			case e.Name == analysis.ForceBegins && e.Side == side && e.T > begin-4 && e.T < end && seen == nil:
				seen = e
			case e.Name == analysis.LoopAnswers && e.Side == side && seen != nil && e.T >= seen.T-4 && e.T < end && answered == nil:
				answered = e
			}
		}
		if seen == nil {
			c.Missed++
			continue
		}
		c.Begins = append(c.Begins, math.Abs(seen.T-begin)*t.Rate)
		for i := range t.Events {
			if e := &t.Events[i]; e.Name == analysis.ForceEnds && e.Side == side && e.T > seen.T {
				c.Ends = append(c.Ends, math.Abs(e.T-end)*t.Rate)
				break
			}
		}
		// (Mixture takes its way through the engine; its latency is not the loop's.)
		if answered != nil && f.Answer >= 0 && !f.Shaky && f.Kind.Wire() {
			c.Intervals++
			truth := (f.Answer - f.Begin).Seconds()
			if truth >= answered.AfterMin-1e-3 && truth <= answered.AfterMax+1e-3 {
				c.Held++
			}
		}
	}
}

// Print writes the tables.
func Print(w io.Writer, trials []Trial) {
	c := Count(trials)
	fmt.Fprintf(w, "%d simulated tests, seeds %d to %d\n\n", len(trials), trials[0].Seed, trials[len(trials)-1].Seed)
	confusion(w, trials)
	fmt.Fprintf(w, "\nwrong                          %s\n", share(c.Wrong, c.Trials-c.Failed))
	fmt.Fprintf(w, "wrong at 2 readings/s and more %s\n", share(c.WrongAt2, c.N2))
	fmt.Fprintf(w, "undecided                      %s\n", share(c.Undecided, c.Trials-c.Failed))
	fmt.Fprintf(w, "undecided, marked, 2/s or more %s\n", share(c.UndecidedMarked, c.Marked))
	if c.Intervals > 0 {
		fmt.Fprintf(w, "latency interval holds truth   %s\n", share(c.Held, c.Intervals))
	}
	fmt.Fprintf(w, "forces not seen                %s\n", share(c.Missed, c.Forces))
	for _, e := range []struct {
		what   string
		errors []float64
	}{{"error of a force's beginning ", c.Begins}, {"error of a force's end       ", c.Ends}} {
		if v := e.errors; len(v) > 0 {
			slices.Sort(v)
			fmt.Fprintf(w, "%s  median %.2f, 95 %% within %.2f intervals between readings\n", e.what, v[len(v)/2], v[len(v)*95/100])
		}
	}
	if c.Failed > 0 {
		fmt.Fprintf(w, "sessions broken off            %s\n", share(c.Failed, c.Trials))
	}
	byProof(w, trials)
	byRate(w, trials)
	for _, t := range c.Wrongs {
		fmt.Fprintf(w, "wrong: seed %d, %s at %.1f readings/s: said %s, was %s\n", t.Seed, t.Expected.Fault, t.Rate, t.Verdict.Conclusion, t.Expected.Conclusion)
	}
}

func confusion(w io.Writer, trials []Trial) {
	rows := map[string]map[string]int{}
	for _, t := range trials {
		if t.Err != nil {
			continue
		}
		row := t.Expected.Fault + " → " + t.Expected.Conclusion
		if rows[row] == nil {
			rows[row] = map[string]int{}
		}
		rows[row][string(t.Verdict.Conclusion)]++
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "what it was → what to say\twhat was said")
	for _, row := range sortedKeys(rows) {
		var said []string
		for _, c := range sortedKeys(rows[row]) {
			said = append(said, fmt.Sprintf("%s %d", c, rows[row][c]))
		}
		fmt.Fprintf(tw, "%s\t%s\n", row, strings.Join(said, ", "))
	}
	tw.Flush()
}

// byProof writes what was said of each link beside what it is; cloudy ones, which nobody can
// know, count for neither.
func byProof(w io.Writer, trials []Trial) {
	states := []analysis.State{analysis.Proven, analysis.Failed, analysis.Unclear, analysis.Untested}
	said := map[analysis.ProofID]*[2]map[analysis.State]int{} // of links that are whole, and broken
	wrong, decided := 0, 0
	for _, t := range trials {
		if t.Err != nil {
			continue
		}
		b := broken[t.Expected.Fault]
		for _, p := range t.Verdict.Proofs {
			if slices.Contains(b.cloudy, p.ID) {
				continue
			}
			of := said[p.ID]
			if of == nil {
				of = &[2]map[analysis.State]int{{}, {}}
				said[p.ID] = of
			}
			i := 0
			if slices.Contains(b.links, p.ID) {
				i = 1
			}
			of[i][p.State]++
		}
		bad, n := ProofsWrong(t)
		decided += n
		for _, k := range bad {
			wrong += k
		}
	}
	fmt.Fprintf(w, "proofs wrong                   %s of those decided\n\n", share(wrong, decided))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "of links that are\t")
	for range 2 {
		for _, s := range states {
			fmt.Fprintf(tw, "%s\t", s)
		}
	}
	fmt.Fprintln(tw)
	for _, id := range analysis.ProofOrder {
		of := said[id]
		if of == nil {
			continue
		}
		fmt.Fprintf(tw, "%s\t", id)
		for i := range of {
			for _, s := range states {
				n := fmt.Sprint(of[i][s])
				if of[i][s] > 0 && (i == 0 && s == analysis.Failed || i == 1 && s == analysis.Proven) {
					n = "wrong: " + n
				}
				fmt.Fprintf(tw, "%s\t", n)
			}
		}
		fmt.Fprintln(tw)
	}
	tw.Flush()
	fmt.Fprintln(w, "(the first four columns: whole; the others: broken)")
}

func byRate(w io.Writer, trials []Trial) {
	fmt.Fprintln(w, "\nby readings/s of the watched sensor:")
	for i, r := range rates {
		var in []Trial
		for _, t := range trials {
			if rateOf(t) == i {
				in = append(in, t)
			}
		}
		if len(in) == 0 {
			continue
		}
		c := Count(in)
		fmt.Fprintf(w, "  %-11s wrong %d, undecided %d (marked %d of %d), of %d\n", r.name, c.Wrong, c.Undecided, c.UndecidedMarked, c.Marked, c.Trials)
	}
}

// rates are the classes of readings/s in the tables.
var rates = []struct {
	from float64
	name string
}{{0, "0 to 1"}, {1, "1 to 2"}, {2, "2 to 4"}, {4, "4 to 8"}, {8, "8 to 20"}, {20, "20 and more"}}

func rateOf(t Trial) int {
	i := len(rates) - 1
	for i > 0 && t.Rate < rates[i].from {
		i--
	}
	return i
}

// FalseEvents counts the events of a session without force that speak of one.
func FalseEvents(t Trial) int { return falseEvents(t.Events) }

func falseEvents(events []analysis.Event) int {
	n := 0
	for _, e := range events {
		switch e.Name {
		case analysis.Ready, analysis.NotReady, analysis.GapSeen, analysis.CodeSet:
		default:
			n++
		}
	}
	return n
}

func sortedKeys[V any](m map[string]V) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
