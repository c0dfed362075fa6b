package accuracy

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/decode"
	"pushback/obd"
)

// Cause is what went otherwise than it was in a test, and the first reason that fits.
type Cause struct{ What, Why string }

// What may go otherwise.
const (
	toldNone  = "forces told where none was"
	toldAside = "forces told in pieces, or begun 4 s off and more"
	notSeen   = "forces not seen"
	undecided = "undecided"
)

// told is one force as the events tell it.
type told struct {
	side       string
	begin, end float64
	of         int  // the force that it is, −1: none
	near       bool // and begun where that began
}

// toldForces are the forces of the events, each beside the true one that it is: of its side, begun where that began, or with its middle in it.
func toldForces(forces []truth.Force, events []analysis.Event, end float64) (list []told) {
	for i, e := range events {
		if e.Name != analysis.ForceBegins {
			continue
		}
		x := told{side: string(e.Side), begin: e.T, end: max(end, e.T), of: -1}
		if k := slices.IndexFunc(events[i:], func(y analysis.Event) bool { return y.Name == analysis.ForceEnds && y.Side == e.Side }); k >= 0 {
			x.end = events[i+k].T
		}
		for k, f := range forces {
			mid := (x.begin + x.end) / 2
			switch off := math.Abs(x.begin - f.Begin); {
			case f.Side != x.side:
			case off < near && (!x.near || off < math.Abs(x.begin-forces[x.of].Begin)):
				x.of, x.near = k, true
			case x.of < 0 && mid >= f.Begin-1 && mid <= f.End+1:
				x.of = k
			}
		}
		list = append(list, x)
	}
	return list
}

// aside says how it came that a force was told that was none, or in pieces.
func (x told) aside(forces []truth.Force) Cause {
	if x.of >= 0 {
		if x.begin < forces[x.of].Begin {
			return Cause{toldAside, "with what came before it"}
		}
		return Cause{toldAside, "a later part of it"}
	}
	why := "apart from all holds"
	for _, f := range forces {
		switch same := f.Side == x.side; {
		case !same && x.begin > f.Begin-1 && x.begin < f.End-1:
			why = "in a hold of the other side"
		case !same && x.begin >= f.End-1 && x.begin < f.End+near:
			why = "as a hold of the other side ended"
		case same && x.begin >= f.End-1 && x.begin < f.End+near:
			why = "as a hold of that side ended"
		case same && x.begin < f.Begin && x.end > f.Begin:
			why = "long before a hold of that side, and into it"
		}
	}
	return Cause{toldNone, why}
}

// readings are those of the watched sensor and its trim, and what the technician said: a session's sink.
type readings struct {
	reading, trim string // their signals
	wide          bool   // the reading is a ratio, else a voltage
	v, u          [][2]float64
	said          []obd.Record
}

// readingsOf are those that a test forces: of a wide-range sensor its ratio, but by the wire behind the catalyst.
func readingsOf(t *truth.Test, sensor decode.SensorID) *readings {
	r := &readings{reading: sensor.Voltage(), trim: sensor.Trim()}
	if r.wide = t.Wide != nil && sensor.Position == 1; r.wide {
		r.reading = sensor.Ratio()
	}
	return r
}

func (r *readings) Write(f session.Frame) error {
	if m := f.Record.Mark; m != nil {
		r.said = append(r.said, f.Record)
	}
	for _, s := range f.Samples {
		at := [2]float64{(s.Sent + s.Received).Seconds() / 2, s.Value}
		switch {
		case s.Missing:
		case s.Signal.Name == r.reading:
			r.v = append(r.v, at)
		case s.Signal.Name == r.trim:
			r.u = append(r.u, at)
		}
	}
	return nil
}

func within(list [][2]float64, from, to float64) (out []float64) {
	for _, p := range list {
		if p[0] >= from && p[0] <= to {
			out = append(out, p[1])
		}
	}
	slices.Sort(out)
	return out
}

// settled is the middle of sorted values, and whether two thirds of them lie within 40 mV of it: those of one level, apart from noise and counts.
func settled(v []float64) (mid float64, is bool) {
	if len(v) == 0 {
		return math.NaN(), false
	}
	mid = v[len(v)/2]
	n := 0
	for _, x := range v {
		if math.Abs(x-mid) < 0.04 {
			n++
		}
	}
	return mid, 3*n >= 2*len(v)
}

// unseen says why nobody, or not this watcher, saw a hold, by what was read of it.
func (r *readings) unseen(f truth.Force, list []told, weighed []analysis.Weighed) string {
	for _, x := range list {
		switch mid := (x.begin + x.end) / 2; {
		case mid < f.Begin || mid > f.End:
		case x.side == f.Side:
			return "told, but begun 4 s off and more"
		default:
			return "told of the other side"
		}
	}
	if r.wide {
		return r.unseenRatio(f)
	}
	in, before, after := within(r.v, f.Begin+0.5, f.End), within(r.v, f.Begin-4, f.Begin), within(r.v, f.End+0.2, f.End+3)
	level, still := settled(in)
	was, lay := settled(before)
	steps := lay && math.Abs(level-was) >= 0.04
	if then, is := settled(after); is && math.Abs(level-then) >= 0.04 {
		steps = true
	}
	answers := r.answers(f)
	odds := math.Inf(-1)
	for _, x := range weighed {
		if mid := (x.Begin + x.End) / 2; string(x.Side) == f.Side && mid >= f.Begin-1 && mid <= f.End+1 {
			odds = max(odds, x.LogOdds)
		}
	}
	switch {
	case len(in) < 4:
		return "nothing shows: fewer than four readings in it"
	case lay && !steps && !answers:
		return "nothing shows: the reading lay there before and after, and trim did not move"
	case lay && !steps:
		return "only trim shows it: the reading lay there before and after"
	case !still:
		return "the reading did not stay at one level"
	case f.End-f.Begin < 6:
		return "shorter than 6 s"
	case lay && (f.Side == "lean") == (was < 0.45):
		return "the reading lay on that side before, at another level"
	case math.IsInf(odds, -1):
		return "a level, never weighed as one stretch"
	case odds > 2.2:
		return "a level: more likely than not, not enough to say"
	default:
		return "a level: no likelier than this car's own stays"
	}
}

// answers reports whether trim left its range of the rest before a hold, against it, by two counts.
func (r *readings) answers(f truth.Force) bool {
	lo, hi := spanOf(within(r.u, f.Begin-20, f.Begin))
	tlo, thi := spanOf(within(r.u, f.Begin, f.End+1))
	return f.Side == "lean" && thi > hi+1.5 || f.Side == "rich" && tlo < lo-1.5
}

// unseenRatio says it of a mixture that was moved: the loop brings the ratio back while that lasts, so its first seconds tell.
func (r *readings) unseenRatio(f truth.Force) string {
	in, before := within(r.v, f.Begin+0.5, min(f.End, f.Begin+6)), within(r.v, f.Begin-12, f.Begin-0.5)
	if len(in) < 4 || len(before) < 4 {
		return "nothing shows: fewer than four readings in it"
	}
	far := in[len(in)/2] - before[len(before)/2]
	noise := (before[len(before)*5/6] - before[len(before)/6]) / 2
	sign := 1.0
	if f.Side == "rich" {
		sign = -1
	}
	said := ""
	for _, x := range r.said {
		if k := x.Mark.Kind; math.Abs(x.At.Seconds()-f.Begin) < 8 && (k == obd.MarkLean || k == obd.MarkRich) && said != f.Side {
			said = string(k)
		}
	}
	switch moved := sign*far >= max(0.01, 2*noise); {
	case !moved && !r.answers(f):
		return "nothing shows: the ratio moved by less than 1 % or twice its noise, and trim did not"
	case !moved:
		return "only trim shows it"
	case said != "" && said != f.Side:
		return "the ratio shows it: it was said of the other side"
	case said == "":
		return "the ratio shows it: it was not said within 8 s"
	case sign*far < max(0.02, 3*noise):
		return "the ratio shows it: by less than 2 %, or than three times its noise"
	}
	return "the ratio shows it"
}

func spanOf(v []float64) (lo, hi float64) {
	if len(v) == 0 {
		return math.NaN(), math.NaN()
	}
	return v[0], v[len(v)-1]
}

// open says what an undecided verdict lacks: a side that was held and not seen, or the first proof that is not decided.
func open(t *truth.Test, list []told, v analysis.Verdict) string {
	if slices.Contains([]analysis.Conclusion{analysis.ConclusionNotReady, analysis.NothingForced}, v.Conclusion) && len(list) > 0 {
		return "called " + string(v.Conclusion)
	}
	seen, held := map[string]bool{}, map[string]bool{}
	for _, x := range list {
		seen[x.side] = seen[x.side] || x.of >= 0
	}
	for _, f := range t.Forces {
		held[f.Side] = true
		if !f.Faint && !seen[f.Side] {
			return "a side that was held is not seen"
		}
	}
	for _, p := range v.Proofs {
		side := map[analysis.ProofID]string{analysis.ProofAddsFuel: "lean", analysis.ProofSensorRich: "lean", analysis.ProofCutsFuel: "rich", analysis.ProofSensorLean: "rich"}[p.ID]
		switch {
		case p.State != analysis.Unclear && p.State != analysis.Untested || side == "" && p.ID != analysis.ProofInput && p.ID != analysis.ProofRecovery:
		case side != "" && !held[side]:
			return fmt.Sprintf("%s %s: that side was not held", p.ID, p.State)
		case len(p.Why) > 0:
			return fmt.Sprintf("%s %s: %s", p.ID, p.State, p.Why[0].Code)
		}
	}
	return "no proof is missing"
}

// causes are all that went otherwise in the test.
func (r *Result) causes(t *truth.Test, res session.Result, seen *readings, weighed []analysis.Weighed) (out []Cause) {
	list := toldForces(t.Forces, res.Events, res.End.Seconds())
	for _, x := range list {
		if !x.near {
			out = append(out, x.aside(t.Forces))
		}
	}
	for k, f := range t.Forces {
		if !f.Faint && !slices.ContainsFunc(list, func(x told) bool { return x.of == k && x.near }) {
			out = append(out, Cause{notSeen, seen.unseen(f, list, weighed)})
		}
	}
	if r.Outcome == truth.Undecided {
		out = append(out, Cause{undecided, open(t, list, res.Verdict)})
	}
	return out
}

// PrintCauses writes how often what went otherwise, and why.
func PrintCauses(w io.Writer, model string, results []Result) {
	type row struct {
		Cause
		marked, unmarked int
	}
	var rows []row
	for _, r := range results {
		for _, c := range r.Looked.Causes {
			k := slices.IndexFunc(rows, func(x row) bool { return x.Cause == c })
			if k < 0 {
				k, rows = len(rows), append(rows, row{Cause: c})
			}
			if r.Marked {
				rows[k].marked++
			} else {
				rows[k].unmarked++
			}
		}
	}
	slices.SortFunc(rows, func(a, b row) int {
		return cmp.Or(strings.Compare(a.What, b.What), cmp.Compare(b.marked+b.unmarked, a.marked+a.unmarked), strings.Compare(a.Why, b.Why))
	})
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for i, x := range rows {
		if i == 0 || rows[i-1].What != x.What {
			fmt.Fprintf(tw, "\n%s: %s\twith marks\twithout\n", model, x.What)
		}
		fmt.Fprintf(tw, "  %s\t%d\t%d\n", x.Why, x.marked, x.unmarked)
	}
	tw.Flush()
}
