package wide

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/analysis/recent"
	"pushback/analysis/scripttest"
)

// good is a force of a side in which all went as in a sound car: gas or air moved the ratio by 7 %, trim took it out
// with the time of the loop, and at the end λ overshot and came back.
func good(side analysis.Side) force {
	rich := side == analysis.Rich
	f := force{side: side, sign: 1, seen: true, size: 0.07, span: span{begin: 20, lo: 19.9, hi: 20.1, end: 35, endHi: 35.2, closed: true}}
	if !rich {
		f.sign = -1
	}
	f.answered, f.answerAt, f.after = true, 20.6, [3]float64{0.5, 0.3, 0.7}
	f.says = map[bool]float64{rich: 20.3, !rich: 35.5}
	f.recovered, f.fitted = 40, true
	f.fit = Estimate{G: 1, GLow: 0.9, GHigh: 1.1, Delay: 0.35, DelayLow: 0.3, DelayHigh: 0.4, Tau: 0.1, TauLow: 0.02, TauHigh: 0.2, P: 0.07 * f.sign}
	f.made = made{end: 0.065, came: 0.06, off: 0.005, over: 0.06}
	return f
}

// lagsLike is the likelihood of flanks with such lags, s, the more the sharper.
func lagsLike(lean, rich, sharp float64) (lik FlankLik) {
	for k, x := range flankKinds {
		lik[k] = -overstates * sharp * (math.Pow(math.Log((x.lag[0]+x.late[0])/lean), 2) + math.Pow(math.Log((x.lag[1]+x.late[1])/rich), 2))
	}
	return lik
}

// ringOf is the ring of forces, each made by a change of a good one.
func ringOf(by analysis.By, forces ...force) *ring {
	w := New(analysis.Config{By: by})
	w.now, w.forces = 100, forces
	w.ready.said, w.ready.everReady = true, true
	r := w.newRing()
	r.weigh()
	return r
}

func changed(side analysis.Side, changes ...func(*force)) force {
	f := good(side)
	for _, c := range changes {
		c(&f)
	}
	return f
}

// unanswered is a force that trim did not answer for so many seconds.
func unanswered(seconds float64) func(*force) {
	return func(f *force) {
		f.answered, f.silent, f.away, f.fitted = false, true, seconds, false
		f.made, f.recovered = made{}, 0
	}
}

// How far each proof comes by what one force has shown; every case holds for gas and, mirrored, for air. The meaning of each
// proof is the README's. Pair: the side that was forced, then the other.
func TestProofsOfOneForce(t *testing.T) {
	type states struct{ input, command, back, delivery, sensor, other, recovery, scale analysis.State }
	const proven, failed, unclear, untested = analysis.Proven, analysis.Failed, analysis.Unclear, analysis.Untested
	all := states{proven, proven, proven, proven, proven, proven, proven, proven}
	change := func(f func(*states)) states {
		s := all
		f(&s)
		return s
	}
	for _, c := range []struct {
		name   string
		change func(*force)
		want   states
	}{
		{"all went well", func(*force) {}, all},
		{"still fed", func(f *force) {
			f.end, f.made.came, f.made.over, f.recovered = 0, 0, 0, 0
			delete(f.says, f.side == analysis.Lean)
		}, states{proven, proven, untested, proven, proven, untested, untested, proven}},
		{"the end was not told by the sensor", func(f *force) { delete(f.says, f.side == analysis.Lean) },
			change(func(s *states) { s.other, s.back = untested, untested })},
		{"nor did the loop come back", func(f *force) { delete(f.says, f.side == analysis.Lean); f.recovered = 0 },
			change(func(s *states) { s.other, s.back, s.recovery = unclear, untested, unclear })},
		{"trim came back by little", func(f *force) { f.made.came = 0.01 }, change(func(s *states) { s.back = untested })},
		{"silent", unanswered(12), states{proven, unclear, untested, untested, proven, proven, unclear, untested}},
		{"silent at its middle, to which it had gone", func(f *force) { unanswered(12)(f); f.atZero = true },
			states{proven, failed, untested, untested, proven, proven, unclear, untested}},
		{"the loop opened before trim answered", func(f *force) { unanswered(0)(f); f.silent, f.opened, f.openedAt = false, true, 25 },
			states{proven, unclear, untested, untested, proven, proven, unclear, untested}},
		{"hunting only", func(f *force) { unanswered(0)(f); f.silent = false }, states{proven, unclear, untested, untested, proven, proven, unclear, untested}},
		{"a sensor that shows half", func(f *force) { f.fit.G, f.fit.GLow, f.fit.GHigh = 0.5, 0.45, 0.55; f.made.over = 0.01 },
			change(func(s *states) { s.delivery, s.scale = unclear, unclear })},
		{"half, but it overshot as far as trim had gone", func(f *force) { f.fit.G, f.fit.GLow, f.fit.GHigh = 0.5, 0.45, 0.55 },
			change(func(s *states) { s.scale = unclear })}, // one force alone says no wrong scale
		{"between sound and half", func(f *force) { f.fit.G, f.fit.GLow, f.fit.GHigh = 0.7, 0.65, 0.75 }, change(func(s *states) { s.scale = unclear })},
		{"λ does not follow trim at all", func(f *force) {
			f.fit.G, f.fit.GLow, f.fit.GHigh = 0.05, 0, 0.1
			f.made.end, f.made.off, f.made.over = 0.12, 0.07, 0
		}, change(func(s *states) { s.delivery, s.scale = failed, unclear })},
		{"the same, not as sure", func(f *force) {
			f.fit.G, f.fit.GLow, f.fit.GHigh = 0.05, 0, 0.4
			f.made.end, f.made.off, f.made.over = 0.12, 0.07, 0
		}, change(func(s *states) { s.delivery, s.scale = unclear, unclear })},
		{"trim went 3 %, and λ is not back", func(f *force) { f.made.end, f.made.came, f.made.over, f.made.off = 0.03, 0.03, 0, 0.05 },
			change(func(s *states) { s.delivery = unclear })},
		{"trim went far, and λ is not back: what comes round whole was delivered", func(f *force) { f.made.over, f.made.off, f.fit.GLow, f.fit.GHigh = 0, 0.05, 0.4, 1.6 }, all},
		{"the same, and it may be none that came round", func(f *force) { f.made.over, f.made.off, f.fit.GLow, f.fit.GHigh = 0, 0.05, 0.1, 1.9 },
			change(func(s *states) { s.delivery, s.scale = unclear, unclear })},
		{"trim went far, and by the fit λ followed, whatever a target that sways makes of its mean", func(f *force) { f.made.over, f.made.off = 0, 0.05 }, all},
		{"the same with no more than half", func(f *force) {
			f.made.over, f.made.off, f.fit.G, f.fit.GLow, f.fit.GHigh = 0, 0.05, 0.7, 0.6, 0.8
		}, change(func(s *states) { s.delivery, s.scale = unclear, unclear })},
		{"something else moved the mixture too", func(f *force) { f.broken = true }, change(func(s *states) { s.delivery, s.scale = untested, untested })},
		{"no fit", func(f *force) { f.fitted = false }, change(func(s *states) { s.delivery, s.scale = untested, untested })},
		{"it never came back", func(f *force) { f.recovered = 0 }, change(func(s *states) { s.recovery = unclear })},
	} {
		for _, side := range []analysis.Side{analysis.Rich, analysis.Lean} {
			r := ringOf(analysis.ByMixture, changed(side, c.change))
			is := func(id analysis.ProofID) analysis.State { return r.by[id].State }
			command, back := analysis.ProofCutsFuel, analysis.ProofAddsFuel
			if side == analysis.Lean {
				command, back = back, command
			}
			rich := side == analysis.Rich
			got := states{is(analysis.ProofInput), is(command), is(back), is(analysis.ProofDelivery), is(sensorProof(rich)), is(sensorProof(!rich)),
				is(analysis.ProofRecovery), is(analysis.ProofScale)}
			if got != c.want {
				t.Errorf("%s, %s:\n got %v\nwant %v", c.name, side, got, c.want)
			}
			if is(analysis.ProofBank) != untested {
				t.Errorf("%s: the mixture reaches both banks, and the bank is %s", c.name, is(analysis.ProofBank))
			}
		}
	}
}

// What two forces say together.
func TestProofsOfSeveralForces(t *testing.T) {
	const proven, failed, unclear = analysis.Proven, analysis.Failed, analysis.Unclear
	gain := func(g, half float64) func(*force) {
		return func(f *force) { f.fit.G, f.fit.GLow, f.fit.GHigh = g, g-half, g+half }
	}
	rear := func(f *force) { f.rearRead, f.rearSays = true, map[bool]bool{f.side == analysis.Lean: true} }
	slow := func(lean, rich, sharp float64) func(*force) {
		return func(f *force) { f.fit.Lags = lagsLike(lean, rich, sharp) }
	}
	for _, c := range []struct {
		name   string
		forces []force
		id     analysis.ProofID
		want   analysis.State
		end    analysis.Conclusion
	}{
		{"both sides", []force{good(analysis.Rich), good(analysis.Lean)}, analysis.ProofScale, proven, analysis.LoopProven},
		{"silent on this side twice", []force{changed(analysis.Rich, unanswered(12)), changed(analysis.Rich, unanswered(12))}, analysis.ProofCutsFuel, failed, analysis.NoCommand},
		{"silent once on each side", []force{changed(analysis.Rich, unanswered(12)), changed(analysis.Lean, unanswered(12))}, analysis.ProofAddsFuel, failed, analysis.NoCommand},
		{"silent on one side, answers the other", []force{changed(analysis.Rich, unanswered(12)), good(analysis.Lean)}, analysis.ProofCutsFuel, failed, analysis.NoCommand},
		{"stood on one side, came back to its middle from the other", []force{
			changed(analysis.Rich, func(f *force) { f.answered, f.made.came, f.made.off, f.made.end = false, 0, 0.03, 0 }), good(analysis.Lean)},
			analysis.ProofCutsFuel, unclear, analysis.ConclusionUnclear},
		{"silent once, answered once", []force{changed(analysis.Rich, unanswered(12)), good(analysis.Rich)}, analysis.ProofCutsFuel, proven, ""},
		{"a scale of half, twice, and the rear sensor followed", []force{changed(analysis.Rich, gain(0.5, 0.05), rear), changed(analysis.Lean, gain(0.5, 0.05), rear)},
			analysis.ProofScale, failed, analysis.SensorSkewed},
		{"the same, nobody saw the mixture follow", []force{changed(analysis.Rich, gain(0.5, 0.05)), changed(analysis.Lean, gain(0.5, 0.05))}, analysis.ProofScale, unclear, analysis.ConclusionUnclear},
		{"twice too much", []force{changed(analysis.Rich, gain(2, 0.1)), changed(analysis.Lean, gain(2, 0.1))}, analysis.ProofScale, failed, analysis.SensorSkewed},
		{"twice too much by one force", []force{changed(analysis.Rich, gain(2, 0.1))}, analysis.ProofScale, unclear, analysis.ConclusionUnclear},
		{"twice too much, of forces that trim hardly followed", []force{
			changed(analysis.Rich, gain(2, 0.1), func(f *force) { f.made.end = 0.03 }), changed(analysis.Lean, gain(2, 0.1), func(f *force) { f.made.end = 0.03 })},
			analysis.ProofScale, unclear, ""},
		{"forces that differ make no scale sure", []force{changed(analysis.Rich, gain(1.0, 0.05)), changed(analysis.Lean, gain(2.2, 0.05))}, analysis.ProofScale, unclear, ""},
		{"slow, both forces say so", []force{changed(analysis.Rich, slow(0.9, 0.9, 1)), changed(analysis.Lean, slow(0.9, 0.9, 1))}, analysis.ProofSensorRich, proven, analysis.SensorSlow},
		{"slow by one force, clearly", []force{changed(analysis.Rich, slow(0.9, 0.9, 3))}, analysis.ProofSensorRich, proven, analysis.SensorSlow},
		{"slow by one force, not clearly", []force{changed(analysis.Rich, slow(0.9, 0.9, 1))}, analysis.ProofSensorRich, proven, analysis.LoopProven},
		{"slow towards rich alone", []force{changed(analysis.Rich, slow(0.1, 0.9, 3))}, analysis.ProofSensorRich, proven, analysis.SensorSlow},
		{"slow towards lean alone", []force{changed(analysis.Rich, slow(0.9, 0.1, 3))}, analysis.ProofSensorRich, proven, analysis.SensorSlow},
		{"slow by a fit of something else", []force{changed(analysis.Rich, slow(0.9, 0.9, 3), gain(2.05, 0.3))}, analysis.ProofScale, unclear, analysis.ConclusionUnclear},
		{"slow by one, quick by the other", []force{changed(analysis.Rich, slow(0.9, 0.9, 1)), changed(analysis.Lean, slow(0.1, 0.1, 1))}, analysis.ProofSensorRich, proven, analysis.LoopProven},
		{"quick", []force{changed(analysis.Rich, slow(0.1, 0.1, 3)), changed(analysis.Lean, slow(0.1, 0.1, 3))}, analysis.ProofSensorRich, proven, analysis.LoopProven},
		{"one force that shows all", []force{good(analysis.Rich)}, analysis.ProofRecovery, proven, analysis.LoopProven},
		{"one side, the other open", []force{changed(analysis.Rich, func(f *force) { f.made.came = 0; delete(f.says, false) })}, analysis.ProofCutsFuel, proven, analysis.PartlyProven},
		{"a fit of something else is no missing fuel", []force{changed(analysis.Rich, gain(-1.4, 0.4), func(f *force) { f.made.end, f.made.off, f.made.over, f.fit.P = 0.12, 0.07, 0, -0.1 })},
			analysis.ProofDelivery, unclear, analysis.ConclusionUnclear},
		{"trim with no mixture behind it", []force{changed(analysis.Rich, gain(0.05, 0.05), func(f *force) { f.made.end, f.made.off, f.made.over = 0.12, 0.07, 0 })},
			analysis.ProofDelivery, failed, analysis.NoDelivery},
	} {
		r := ringOf(analysis.ByMixture, c.forces...)
		if got := r.by[c.id].State; got != c.want {
			t.Errorf("%s: %s is %s, want %s (%v)", c.name, c.id, got, c.want, r.by[c.id].Evidence)
		}
		if got := r.conclude(); c.end != "" && got != c.end {
			t.Errorf("%s: concludes %s, want %s", c.name, got, c.end)
		}
	}
}

// Trim that was ever read beyond its middle on a side goes there: what kept it at its middle in a force was a rest, and no fault of
// the computer. One that never went there, or only the other way, stays a fault.
func TestRestsAtItsMiddle(t *testing.T) {
	for _, c := range []struct {
		name        string
		least, most float64 // %, of short-term trim over the session
		want        analysis.State
	}{
		{"never went beyond", -1.6, 9, analysis.Failed},
		{"a count more than its middle", -2.3, 9, analysis.Failed},
		{"went beyond at another time", -4, 9, analysis.Unclear},
	} {
		for _, atZero := range []bool{true, false} { // else it stood on the one side and answered on the other
			r := ringOf(analysis.ByMixture, changed(analysis.Rich, unanswered(12), func(f *force) { f.atZero = atZero }), good(analysis.Lean))
			r.w.fig.reach.Add(c.least)
			r.w.fig.reach.Add(c.most)
			r.silence()
			if got := r.by[analysis.ProofCutsFuel].State; got != c.want {
				t.Errorf("%s, at zero %v: %s, want %s", c.name, atZero, got, c.want)
			}
		}
	}
}

// Where the ratio is away from its command at rest, a force that brings it nearer asks trim for no answer; one that takes it past does.
func TestSilenceOfALoopThatIsAway(t *testing.T) {
	for _, c := range []struct {
		rest, y float64 // of the ratio, and how far the force has moved it
		want    bool
	}{{0, 0.05, true}, {-0.01, 0.05, true}, {-0.1, 0.05, false}, {-0.1, 0.14, true}, {0.1, 0.05, true}} {
		w := New(analysis.Config{By: analysis.ByMixture})
		f := &force{side: analysis.Rich, sign: 1, before: before{rest: c.rest}, says: map[bool]float64{}}
		for x := 0.0; x < 12; x += 0.25 {
			w.followSilence(f, 20+x, c.y, 0)
		}
		if f.silent != c.want {
			t.Errorf("at rest %.2f, moved by %.2f: silent %v", c.rest, c.y, f.silent)
		}
	}
}

// The table from proofs to the conclusion, over many states of every proof: what other programs rely on of each conclusion
// holds of all that lead to it. The promises are those of the table of conclusions in the README.
func TestConcludeStates(t *testing.T) {
	states := []analysis.State{analysis.Proven, analysis.Failed, analysis.Unclear, analysis.Untested}
	rapid.Check(t, func(t *rapid.T) {
		r := ringOf(analysis.ByMixture, good(analysis.Rich))
		r.slow, r.half = rapid.IntRange(0, 5).Draw(t, "slow") == 0, rapid.IntRange(0, 5).Draw(t, "half") == 0
		is := func(ids ...analysis.ProofID) func(analysis.State) bool {
			return func(s analysis.State) bool {
				return !slices.ContainsFunc(ids, func(id analysis.ProofID) bool { return r.by[id].State != s })
			}
		}
		for _, id := range Order {
			r.by[id].State = rapid.SampledFrom(states).Draw(t, string(id))
			if rapid.Bool().Draw(t, "proven") {
				r.by[id].State = analysis.Proven
			}
		}
		got := r.conclude()
		dead := r.by[analysis.ProofSensorRich].State == analysis.Failed || r.by[analysis.ProofSensorLean].State == analysis.Failed
		command := r.by[analysis.ProofAddsFuel].State == analysis.Failed || r.by[analysis.ProofCutsFuel].State == analysis.Failed
		ok := true
		switch got {
		case analysis.LoopProven:
			ok = is(analysis.ProofInput, analysis.ProofAddsFuel, analysis.ProofCutsFuel, analysis.ProofDelivery, analysis.ProofSensorRich, analysis.ProofSensorLean,
				analysis.ProofRecovery, analysis.ProofScale)(analysis.Proven) && !r.slow && !r.half
		case analysis.PartlyProven:
			ok = is(analysis.ProofInput, analysis.ProofDelivery, analysis.ProofScale)(analysis.Proven) && !dead && !command
		case analysis.SensorDead:
			ok = dead
		case analysis.NoCommand:
			ok = command && !dead
		case analysis.NoDelivery:
			ok = is(analysis.ProofDelivery)(analysis.Failed) && !dead && !command
		case analysis.SensorSlow:
			ok = r.slow && !dead && !command
		case analysis.SensorSkewed:
			ok = is(analysis.ProofScale)(analysis.Failed) && !dead && !command
		case analysis.ConclusionUnclear:
			ok = !dead && !command
		default:
			ok = false
		}
		if !ok {
			t.Fatalf("%s of %v, slow %v, half %v", got, r.by, r.slow, r.half)
		}
		step, next := r.next(got)
		if open := got == analysis.ConclusionUnclear || got == analysis.PartlyProven; (step != "") != open || len(next) == 0 {
			t.Fatalf("%s asks for %q, %v", got, step, next)
		}
	})
	whole := ringOf(analysis.ByMixture, good(analysis.Rich))
	if whole.conclude() != analysis.LoopProven {
		t.Errorf("all is proven: %s", whole.conclude())
	}
	if whole.half = true; whole.conclude() != analysis.ConclusionUnclear {
		t.Errorf("half of the fuel or half of the sensor: %s", whole.conclude())
	}
	for _, c := range []struct {
		id    analysis.ProofID
		state analysis.State
		want  analysis.Conclusion
	}{
		{analysis.ProofSensorLean, analysis.Failed, analysis.SensorDead}, {analysis.ProofCutsFuel, analysis.Failed, analysis.NoCommand},
		{analysis.ProofDelivery, analysis.Failed, analysis.NoDelivery}, {analysis.ProofScale, analysis.Failed, analysis.SensorSkewed},
		{analysis.ProofInput, analysis.Unclear, analysis.ConclusionUnclear}, {analysis.ProofSensorLean, analysis.Untested, analysis.PartlyProven},
	} {
		r := ringOf(analysis.ByMixture, good(analysis.Rich))
		if r.by[c.id].State = c.state; r.conclude() != c.want {
			t.Errorf("%s %s: %s, want %s", c.id, c.state, r.conclude(), c.want)
		}
	}
}

// What cannot be tested is not, and says so: nothing forced, a wire that is never held, an engine that is not fit.
func TestConcludeWithoutAForce(t *testing.T) {
	for _, c := range []struct {
		name  string
		by    analysis.By
		watch func(*Watcher)
		want  analysis.Conclusion
	}{
		{"nothing forced", analysis.ByMixture, func(*Watcher) {}, analysis.NothingForced},
		{"by nothing", analysis.ByNothing, func(*Watcher) {}, analysis.NothingForced},
		{"its wire", analysis.ByWire, func(*Watcher) {}, analysis.ConclusionNotReady},
		{"by fuel cut, none seen", analysis.ByFuelCut, func(*Watcher) {}, analysis.NothingForced},
		{"never ready", analysis.ByMixture, func(w *Watcher) { w.ready.everReady = false }, analysis.ConclusionNotReady},
		{"cold, and nothing was said", analysis.ByMixture, func(w *Watcher) {
			w.ready.said, w.ready.hasCoolant, w.ready.coolant = false, true, 20
		}, analysis.ConclusionNotReady},
		{"the two sensors contradict", analysis.ByMixture, func(w *Watcher) { w.offset.most, w.offset.lambda, w.offset.rear = 12, 0.85, 0.1 }, analysis.SensorSkewed},
		{"for too short a time", analysis.ByMixture, func(w *Watcher) { w.offset.most = 9.9 }, analysis.NothingForced},
		{"the rear trims stand far out", analysis.ByMixture, func(w *Watcher) { w.offset.trim, w.offset.trimMost = 4, 31 }, analysis.ConclusionUnclear},
	} {
		w := New(analysis.Config{By: c.by})
		w.now = 100
		w.ready.said, w.ready.everReady = true, true
		c.watch(w)
		if v := w.Verdict(); v.Conclusion != c.want {
			t.Errorf("%s: %s, want %s", c.name, v.Conclusion, c.want)
		}
	}
}

// Rear trims that stand far out leave open what is wrong, even where a force has shown all that it can: an exhaust leak, one cylinder, or the sensor.
func TestRearTrimLeavesOpen(t *testing.T) {
	r := ringOf(analysis.ByMixture, good(analysis.Rich), good(analysis.Lean))
	if c := r.conclude(); c != analysis.LoopProven {
		t.Errorf("without: %s", c)
	}
	r.w.offset.trim, r.w.offset.trimMost = 4, 31
	r = r.w.newRing()
	r.weigh()
	step, next := r.next(r.conclude())
	if c, s := r.conclude(), r.by[analysis.ProofScale].State; c != analysis.ConclusionUnclear || s != analysis.Unclear || step != analysis.LeakCheck || len(next) == 0 {
		t.Errorf("%s, scale %s, %s %v", c, s, step, next)
	}
}

// Cuts: λ far lean proves input and sensor; a rear sensor that goes lean while λ stands proves the sensor dead; a slow flank is a
// slow sensor where the session is one of cuts.
func TestCutsWeigh(t *testing.T) {
	quick := cut{begin: 50, end: 54, rest: 1, top: 1.6, seen: true, up: flank{0, 0.3}, down: flank{0, 0.4}, back: 56}
	for _, c := range []struct {
		name        string
		x           cut
		by          analysis.By
		input, lean analysis.State
		end         analysis.Conclusion
	}{
		{"seen, and back", cut{begin: 20, end: 24, rest: 1, top: 1.6, seen: true, up: flank{0.2, 0.5}, down: flank{0.3, 0.7}, back: 26}, analysis.ByFuelCut, analysis.Proven, analysis.Proven, analysis.PartlyProven},
		{"a slow flank", cut{begin: 20, end: 24, rest: 1, top: 1.6, seen: true, up: flank{1.2, 1.6}, down: flank{0.3, 0.7}, back: 26}, analysis.ByFuelCut, analysis.Proven, analysis.Proven, analysis.SensorSlow},
		{"a slow flank beside the point", cut{begin: 20, end: 24, rest: 1, top: 1.6, seen: true, up: flank{1.2, 1.6}, back: 26}, analysis.ByMixture, analysis.Proven, analysis.Proven, analysis.NothingForced},
		{"told, and only the rear sensor saw it", cut{begin: 20, end: 24, rest: 1, top: 1.01, status: true, rearRead: true, rearLow: 0.08}, analysis.ByFuelCut, analysis.Unclear, analysis.Failed, analysis.SensorDead},
		{"told, nobody saw it", cut{begin: 20, end: 24, rest: 1, top: 1.01, status: true, rearRead: true, rearLow: 0.5}, analysis.ByFuelCut, analysis.Unclear, analysis.Untested, analysis.ConclusionUnclear},
		{"told for two seconds", cut{begin: 20, end: 22, rest: 1, top: 1.01, status: true, rearRead: true, rearLow: 0.08}, analysis.ByFuelCut, analysis.Untested, analysis.Untested, analysis.ConclusionUnclear},
	} {
		w := New(analysis.Config{By: c.by})
		w.now, w.ready.said, w.ready.everReady = 100, true, true
		w.cuts.all = []cut{c.x}
		if c.end == analysis.SensorSlow { // the engine was slow, not the sensor, where another cut has a quick flank that way
			w.cuts.all = append(w.cuts.all, quick)
			r := w.newRing()
			if r.weigh(); r.conclude() != analysis.PartlyProven {
				t.Errorf("%s, and a quick one: %s", c.name, r.conclude())
			}
			w.cuts.all = w.cuts.all[:1]
		}
		r := w.newRing()
		r.weigh()
		if r.by[analysis.ProofInput].State != c.input || r.by[analysis.ProofSensorLean].State != c.lean || r.conclude() != c.end {
			t.Errorf("%s: input %s, lean %s, %s", c.name, r.by[analysis.ProofInput].State, r.by[analysis.ProofSensorLean].State, r.conclude())
		}
		if r.by[analysis.ProofSensorRich].State != analysis.Untested {
			t.Errorf("%s: a cut has shown rich", c.name)
		}
	}
}

// Holds of the rear wire: what is asked must be half a per cent and twice its error, and what is shown four fifths of that.
func TestRearHoldsWeigh(t *testing.T) {
	const proven, unclear, untested = analysis.Proven, analysis.Unclear, analysis.Untested
	for _, c := range []struct {
		name                 string
		x                    rearHold
		adds, delivery, rich analysis.State
		end                  analysis.Conclusion
	}{
		{"asked and shown", rearHold{begin: 20, end: 60, level: 0.02, asked: 1, askedN: 0.2, moved: 0.9, movedN: 0.2, by: "x", measured: true, rich: true}, proven, proven, proven, analysis.PartlyProven},
		{"asked, not shown", rearHold{begin: 20, end: 60, asked: 1, askedN: 0.2, moved: 0.3, movedN: 0.1, by: "x", measured: true}, proven, unclear, untested, analysis.ConclusionUnclear},
		{"asked, shown within its error", rearHold{begin: 20, end: 60, asked: 1, askedN: 0.2, moved: 0.6, movedN: 0.4, by: "x", measured: true}, proven, unclear, untested, analysis.ConclusionUnclear},
		{"too little", rearHold{begin: 20, end: 60, asked: 0.4, askedN: 0.1, moved: 0.9, movedN: 0.2, by: "x", measured: true}, unclear, untested, untested, analysis.ConclusionUnclear},
		{"within its error", rearHold{begin: 20, end: 60, asked: 0.9, askedN: 0.5, by: "x"}, unclear, untested, untested, analysis.ConclusionUnclear},
		{"by nothing that is told", rearHold{begin: 20, end: 60, asked: 3, askedN: 0.1}, unclear, untested, untested, analysis.ConclusionUnclear},
		{"said rich while it is held", rearHold{begin: 20, asked: 1, askedN: 0.2, by: "x", rich: true}, unclear, untested, untested, analysis.ConclusionUnclear}, // measured anew: nothing was read
	} {
		cfg := analysis.Config{By: analysis.ByWire}
		cfg.Sensor.Bank, cfg.Sensor.Position = 1, 2
		w := New(cfg)
		w.now, w.ready.said, w.ready.everReady = 100, true, true
		w.rears.all = []rearHold{c.x}
		r := w.newRing()
		r.weigh()
		got := [3]analysis.State{r.by[analysis.ProofAddsFuel].State, r.by[analysis.ProofDelivery].State, r.by[analysis.ProofSensorRich].State}
		if got != [3]analysis.State{c.adds, c.delivery, c.rich} || r.conclude() != c.end || r.by[analysis.ProofInput].State != proven {
			t.Errorf("%s: %v, %s", c.name, got, r.conclude())
		}
	}
}

// filled is a series with the readings of a script.
func filled(t *testing.T, script string) recent.Series {
	s := recent.New(64)
	for _, p := range scripttest.Points(t, script) {
		s.Add(recent.Reading{Lo: p.At, Hi: p.At, V: p.Value})
	}
	return s
}

// How far readings and changes lie apart; special cases are: of one there is no distance.
func TestApart(t *testing.T) {
	s := filled(t, "10s 1; 12s 3; 13s 3; 16s 0")
	empty := recent.New(4)
	if got := interval(&s, 0, 99); got != 2 { // 2, 1, 3
		t.Errorf("readings lie %g s apart", got)
	}
	if got := refresh(&s, 0, 99); got != 4 { // from 12 to 16 s
		t.Errorf("it changes each %g s", got)
	}
	if interval(&empty, 0, 9) != 0 || refresh(&empty, 0, 9) != 0 || interval(&s, 10, 11) != 0 || refresh(&s, 10, 13) != 0 {
		t.Error("a distance of one reading, or of one change")
	}
}

// Middle and spread move and grow with their values, and a few wild ones do not carry them; for a normal law the spread is its deviation
// (the factor of Rousseeuw and Croux, 1993).
func TestSpread(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-10, 10), 3, 40).Draw(t, "values")
		shift, scale := rapid.Float64Range(-100, 100).Draw(t, "shift"), rapid.Float64Range(0.1, 10).Draw(t, "scale")
		moved := slices.Clone(v)
		for i := range moved {
			moved[i] = shift + scale*moved[i]
		}
		m, sd := spread(slices.Clone(v))
		m2, sd2 := spread(moved)
		if math.Abs(m2-shift-scale*m) > 1e-9*(1+math.Abs(m2)) || math.Abs(sd2-scale*sd) > 1e-9*(1+sd2) || sd < 0 {
			t.Fatalf("%g ± %g, moved by %g and %g: %g ± %g", m, sd, shift, scale, m2, sd2)
		}
		if m < slices.Min(v) || m > slices.Max(v) {
			t.Fatalf("%g is not within %v", m, v)
		}
	})
	var v []float64
	for i := range 1999 { // quantiles of a normal law
		v = append(v, math.Sqrt2*math.Erfinv(2*float64(i+1)/2000-1))
	}
	if m, sd := spread(append(v, 1e6, 1e6, 1e6)); math.Abs(m) > 0.01 || math.Abs(sd-1) > 0.01 {
		t.Errorf("a normal law with three wild values is %g ± %g", m, sd)
	}
	if m, sd := spread(nil); m != 0 || sd != 0 {
		t.Errorf("none is %g ± %g", m, sd)
	}
	if m, sd := spread([]float64{4}); m != 4 || sd != 0 {
		t.Errorf("one is %g ± %g", m, sd)
	}
}
