package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// How the reasons of a force and of the conclusion begin; what is indented belongs to the
// reason before it.
const (
	ForceReason      = "Force "
	ConclusionReason = "Conclusion: "
)

// Reasons tells what the judgement weighed, force by force, with the data that it used: the
// rest before, how likely such a hold is by itself, the sums that tell an answer from hunting, the
// release against this car's own switching, and how the conclusion follows. A line each; those
// that begin with two blanks belong to the line above.
func (w *Watcher) Reasons() []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	c := assess(w)
	for i, f := range w.forces {
		how := "seen in the readings, nobody had said so"
		if f.marked {
			how = "as was said"
		}
		switch {
		case slices.Contains(c.discounted, f):
			how += "; it does not count: the conditions for a test did not hold"
		case !slices.Contains(c.forces, f):
			how += "; it does not count: it was not in step with what was said"
		}
		add(ForceReason+"%d, %s, from %.2f s (between %.2f and %.2f) to %.2f s: %s.", i+1, f.side, f.begin, f.beginLo, f.beginHi, f.begin+max(0, f.seconds()), how)
		w.restReasons(f, add)
		if w.cfg.By != ByMixture && !f.loose && f.volts.known() {
			add("  Held: %.0f %% of the readings at %.3f V; the chance that the sensor stays on this side for so long by itself is %s.",
				100*f.share, f.level, odds(f.volts.stays(f.side).chance(f.seconds())))
			x := f.weight
			add("  Weighed, as logarithms of likelihood ratios: %+.1f by its readings against this sensor, this loop and real mixture, %+.1f by the other sensors, %+.1f by its release; %+.1f before any reading, by what was said and how rare forces are.",
				x.free, x.down, x.release, x.prior)
		}
		f.answerReasons(add)
		f.releaseReasons(add)
	}
	for i := range w.doubts {
		if d := &w.doubts[i]; d.serious() && len(c.on([]Side{Lean, Rich}[i])) == 0 {
			add("Not called a force: %.2f V for %.1f s from %.2f s; the odds that it was one are e to the %.1f, of %.1f that are asked for.", d.level, d.secs, d.begin, d.odds, oneInThousand)
		}
	}
	for i, s := range []Side{Lean, Rich} {
		if fo := w.follow[i]; fo.no || fo.vague {
			read, why := "", strings.TrimSuffix(fo.why, "?")
			if fo.n > 0 {
				read = fmt.Sprintf(" %d readings, mean %.2f V;", fo.n, fo.level)
			}
			if fo.no {
				why = "it went on as before"
			}
			add("Said to be forced %s, for %.0f s:%s %s.", s, fo.secs, read, why)
		}
	}
	v := w.Verdict()
	add(ConclusionReason+"%s", strings.Join(c.rule(v), "; "))
	return out
}

// restReasons tells what the force is compared with.
func (w *Watcher) restReasons(f *force, add func(string, ...any)) {
	b, t := f.volts, f.own.base
	if b.known() {
		add("  Sensor at rest before: %d readings in %.0f s, %.2f to %.2f V; %d stays lean, %.2f s in the middle and %.2f s at the longest, and %d rich, %.2f s and %.2f s.",
			b.n, b.seconds, b.low, b.high, b.lean.n, b.lean.mid, b.lean.longest, b.rich.n, b.rich.mid, b.rich.longest)
	} else {
		add("  Sensor at rest before: too little was read (%d readings in %.0f s).", b.n, b.seconds)
	}
	if t.known() {
		add("  Trim at rest before: %d readings in %.0f s, %+.1f to %+.1f %%, in the middle %+.1f %%.", t.n, t.seconds, t.low, t.high, t.median)
	} else {
		add("  Trim at rest before: too little was read (%d readings in %.0f s).", t.n, t.seconds)
	}
}

var answerWords = map[answerState]string{
	answerOpen: "not decided", answered: "an answer", silent: "silence", wrongWay: "the wrong way", cannot: "no room to answer",
}

func (f *force) answerReasons(add func(string, ...any)) {
	a := &f.own
	if a.n == 0 {
		add("  Trim: not read.")
		return
	}
	add("  Trim: %d readings, from %+.1f %%, between %+.1f and %+.1f %%, last %+.1f %%: %s.", a.n, a.up*a.start,
		min(a.up*a.bottom, a.up*a.top), max(a.up*a.bottom, a.up*a.top), a.up*a.now, answerWords[a.state])
	if s := a.climb.noise; s.known() {
		c := &a.climb
		add("  Against its own hunting: blocks of %.1f s, %d of them at rest, standard deviation %.2f %%, correlation %.2f; sums %.1f and %.1f against the force, %.1f and %.1f with it, of %.1f and %.1f that raise the alarm (once in 1000 forces by chance).",
			s.block, s.n, s.sd, s.corr, c.most[0][0], c.most[0][1], c.most[1][0], c.most[1][1], c.up[0].H, c.up[1].H)
	}
	if a.state == answered {
		best, lo, hi := a.after()
		sure := ""
		if a.fitted {
			sure = " (99 %)"
		}
		add("  It began %.2f s after the force, between %.2f and %.2f s%s, and went %.2f %% a second.", best, lo, hi, sure, a.rate)
	} else {
		add("  It stood within a count for %.1f s; the slowest loop that counts as alive (%.1f %% a second) leaves it within %.1f s.", a.stuckFor(), minLoopRate, stuckEnough)
	}
}

var sensorWords = map[sensorState]string{
	sensorOpen: "not decided", sensorSays: "reported", sensorLate: "reported late", sensorMute: "not reported", sensorVague: "does not decide", sensorNotYet: "nothing to report",
}

func (f *force) releaseReasons(add func(string, ...any)) {
	r := &f.rel
	if !f.ended {
		return
	}
	text := fmt.Sprintf("  Released: trim was %+.1f %% past its balance; the sensor was to say %s: %s", f.own.up*r.trimMade, r.expect, sensorWords[r.state])
	if r.why != "" {
		text += " (" + r.why + ")"
	}
	add("%s.", text)
	if r.hasOn {
		left := "it was still there at the end"
		if r.left {
			left = fmt.Sprintf("it left with %.0f %% of what trim had made still there", 100*max(0, r.stillLeft))
		}
		add("  On that side from %.2f to %.2f s after the release; a stay of %.1f s is more than plain switching; %s.",
			r.firstOn.t()-r.at, r.lastOn.t()-r.at, r.stayNeeded(f.volts), left)
	}
	if d := &f.down; d.seen {
		went := "did not go"
		if d.answered {
			went = "went"
		}
		rest := "not read at rest"
		if d.hasBase {
			rest = fmt.Sprintf("%.2f to %.2f V at rest", d.baseLow, d.baseHigh)
		}
		add("  Behind the catalyst: %s; trim was away by %.0f %% at most, for %.0f s and %.1f g of oxygen in all (%.0f s and %.0f g are enough); it %s %s.",
			rest, d.most, d.away, d.oxygen, enoughAway, enoughOxygen, went, d.side)
	}
}

// rule is how the verdict follows from its proofs.
func (c *assessment) rule(v Verdict) []string {
	by := map[State][]string{}
	for _, p := range v.Proofs {
		by[p.State] = append(by[p.State], string(p.ID))
	}
	out := []string{string(v.Conclusion)}
	for _, s := range []State{Proven, Failed, Unclear, Untested} {
		if len(by[s]) > 0 {
			out = append(out, fmt.Sprintf("%s: %s", s, strings.Join(by[s], ", ")))
		}
	}
	return append(out, "an arc that fails hides those behind it, in the order bank, input, adds and cuts fuel, delivery, sensor; without one that fails, each side that was forced must be proven")
}

// odds says a probability as people do.
func odds(p float64) string {
	switch {
	case p <= 0:
		return "none: it was never there"
	case p > 0.5:
		return "better than even"
	case p < 1e-12:
		return "less than 1 in a million million"
	case p < 1e-6:
		digit := math.Pow(10, math.Floor(-math.Log10(p)))
		return fmt.Sprintf("1 in %.0f million", math.Round(1/p/digit)*digit/1e6)
	}
	return fmt.Sprintf("1 in %.0f", 1/p)
}
