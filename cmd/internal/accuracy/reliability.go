package accuracy

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"pushback/analysis"
	"pushback/cmd/internal/accuracy/truth"
)

// Stated is what was stated of a stretch of readings, beside the truth.
type Stated struct {
	LogOdds float64 // of a force
	Called  bool    // a force
	Was     bool    // one
}

// stated compares what was weighed with the truth: a stretch was a force where most of it lies in a hold of its side, and one that was called
// a force also where it begins as that does, since its odds were given before its end was known. Where banks are crossed, or an input is dead, a hold is not on the signal that is read, so those tell nothing.
func stated(t *truth.Test, list []analysis.Weighed) []Stated {
	if t.By != "" && t.By != string(analysis.ByWire) || t.Fault == "crossed" || t.Fault == "open" {
		return nil
	}
	var out []Stated
	for _, x := range list {
		s := Stated{LogOdds: x.LogOdds, Called: x.Called}
		for _, f := range t.Forces {
			mid := (x.Begin + x.End) / 2
			s.Was = s.Was || f.Side == string(x.Side) && (mid >= f.Begin-1 && mid <= f.End+1 || x.Called && math.Abs(x.Begin-f.Begin) < near)
		}
		out = append(out, s)
	}
	return out
}

// reliabilityBins are the lower bounds of the log odds that are counted together: a thousandth, a hundredth, a tenth, a half and so on.
var reliabilityBins = []float64{math.Inf(-1), -6.9, -4.6, -2.2, 0, 2.2, 4.6, 6.9, 9.2}

// PrintReliability writes how many of the stretches to which a probability was given were a force: first those that were called
// one, whose odds stand as they were when that was decided, then those that were not.
func PrintReliability(w io.Writer, model string, results []Result) {
	type bin struct {
		n, was int
		sum    float64
	}
	for _, called := range []bool{true, false} {
		bins := make([]bin, len(reliabilityBins))
		all := 0
		for _, r := range results {
			for _, s := range r.Looked.Stated {
				if s.Called != called {
					continue
				}
				k := len(reliabilityBins) - 1
				for s.LogOdds < reliabilityBins[k] {
					k--
				}
				all++
				bins[k].n++
				bins[k].sum += 1 / (1 + math.Exp(-s.LogOdds))
				if s.Was {
					bins[k].was++
				}
			}
		}
		if all == 0 {
			continue
		}
		what := "called a force"
		if !called {
			what = "not called one"
		}
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintf(tw, "\n%s: stretches %s\tn\tstated, %%\twere one, %%\n", model, what)
		for k, b := range bins {
			if b.n > 0 {
				fmt.Fprintf(tw, "log odds from %.1f\t%d\t%.2f\t%s\n", reliabilityBins[k], b.n, 100*b.sum/float64(b.n), brief(b.was, b.n))
			}
		}
		tw.Flush()
	}
}
