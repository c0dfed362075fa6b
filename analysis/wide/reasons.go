package wide

import (
	"fmt"
	"strings"

	"pushback/analysis"
)

// Reasons tells what the judgement weighed, force by force; lines as [analysis.Watcher.Reasons] has them.
func (w *Watcher) Reasons() []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	v := w.Verdict()
	for i := range w.forces {
		f := &w.forces[i]
		how := "seen in the readings, nobody had said so"
		if f.marked {
			how = "as was said"
		}
		add(analysis.ForceReason+"%d, %s, from %.2f s (between %.2f and %.2f) to %.2f s: %s.", i+1, f.side, f.begin, f.lo, f.hi, endOr(f, w.now), how)
		add("  At rest before: the ratio of fuel %+.1f %% with a standard deviation of %.2f %%, commanded fuel %+.1f %%.", 100*f.rest, 100*f.noise, 100*f.u0)
		if !f.fitted {
			add("  The model was not fitted: too little was read.")
			continue
		}
		if f.broken {
			add("  The mixture came back long before it was let go: something else moved it too, so gain and lag are not told from it.")
		}
		e := &f.fit
		add("  Model: gain %.2f (%.2f to %.2f), delay %.2f s (%.2f to %.2f), lag %.2f s (%.2f to %.2f), fed %+.1f %% from %.2f s through %.1f s until %.2f s through %.1f s.",
			e.G, e.GLow, e.GHigh, e.Delay, e.DelayLow, e.DelayHigh, e.Tau, e.TauLow, e.TauHigh, 100*e.P, e.Begin, e.On, e.End, e.Off)
		add("  It leaves %.2f %% of %d readings.", 100*e.Noise, e.N)
		if f.hasBeside {
			add("  The other bank under the same flow: gain %.2f (%.2f to %.2f), fed %+.1f %%.", f.beside.G, f.beside.GLow, f.beside.GHigh, 100*f.beside.P)
		}
	}
	for i := range w.cuts.all {
		c := &w.cuts.all[i]
		add("Fuel cut from %.2f to %.2f s: lambda %.2f at most; flanks of %.1f s up and %.1f s back at the least; behind the catalyst %.2f V, %.1f V/s.", c.begin, c.end, c.top, c.up, c.down, c.rearLow, c.slope)
	}
	by := map[analysis.State][]string{}
	for _, p := range v.Proofs {
		by[p.State] = append(by[p.State], string(p.ID))
	}
	said := []string{string(v.Conclusion)}
	for _, s := range []analysis.State{analysis.Proven, analysis.Failed, analysis.Unclear, analysis.Untested} {
		if len(by[s]) > 0 {
			said = append(said, fmt.Sprintf("%s: %s", s, strings.Join(by[s], ", ")))
		}
	}
	add(analysis.ConclusionReason+"%s", strings.Join(said, "; "))
	return out
}
