package analysis

import (
	"slices"
	"testing"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// evenly is a sensor that cycled before the force, as a loop makes it; flatBase one that did not.
func evenly() voltsBase {
	stays := []float64{0.9, 1, 1.1, 0.9, 1, 1.1, 1, 1, 0.9, 1}
	return voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.08, high: 0.9, changes: 30,
		lean: staysOf(slices.Clone(stays)), rich: staysOf(slices.Clone(stays)), shareRich: 0.5}
}

func flatBase() voltsBase {
	return voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.42, high: 0.44}
}

// good is a force of a side in which all went as in a sound car: held for 15 s at a good contact, trim answered from 1 s on
// and went 15 % past its middle, the sensor told of it on the release and the loop cycled again.
func good(side Side) *force {
	f := &force{side: side, bank: 1, level: 0.02, share: 1, madeWhen: madeWhen{beginLo: 10, beginHi: 10.1, begin: 10, ended: true, endLo: 25, endHi: 25.1, end: 25},
		computerDid: computerDid{ready: true}, volts: evenly(), resumed: true}
	f.own = answer{state: answered, up: 1, n: 60, lo: 10, hi: 10.1, began: 10, base: trimBase{n: 40, seconds: 12, low: -1.6, high: 1.6, shortLow: -1.6, shortHigh: 1.6, activity: 1, flatFor: 0.5},
		course:   course{start: 0, now: 15, nowAt: 25, top: 15, peak: 15, raw: 15, rawTop: 15},
		onsetFit: onsetFit{onset: 11, onsetLo: 10.8, onsetHi: 11.2, rate: 2, rated: true}}
	f.own.steadyAt = 24.5
	f.rel = release{state: sensorSays, expect: side.Opposite(), lo: 25, hi: 25.1, at: 25, trimThen: 15, trimMade: 15, left: true, stillLeft: 0.1, lastOn: recent.Reading{Lo: 31, Hi: 31, V: 0.85},
		reached: reached{n: 30, hasOn: true, nOn: 20, best: 0.88, strong: 15, firstOn: recent.Reading{Lo: 25.2, Hi: 25.3, V: 0.85}, bottom: 0.1, top: 0.9}, recovery: recovery{resumed: true, resumedAt: 33}}
	f.down = downstream{seen: true, side: side.Opposite(), n: 30, answered: true, answeredAt: 16, oxygen: 5, away: 25, most: 15}
	if side == Rich {
		f.level = 0.95
		f.own.up, f.own.raw, f.own.rawTop = -1, -15, 15
		f.rel.best, f.rel.bottom, f.rel.top = 0.06, 0.05, 0.9
		f.volts.low, f.volts.high = 1-f.volts.high, 1-f.volts.low
	}
	return f
}

// quietTrim is a trim that stood where it was, for s seconds.
func quietTrim(s float64) func(*force) {
	return func(f *force) {
		f.end = f.begin + s
		f.own.state, f.own.rate, f.own.rated = silent, 0, false
		f.own.now, f.own.top, f.own.peak, f.own.raw, f.own.rawTop, f.own.nowAt = 0, 0, 0, 0.7*f.own.up, 0.7, f.begin+s
		f.own.steadyAt = f.begin
		f.resumed, f.rel = false, release{state: sensorNotYet}
	}
}

// wentOn has the sensor behind the catalyst go on as at rest.
func wentOn(f *force) {
	f.down.answered = false
	for i := range f.down.passes {
		f.down.passes[i] = -20
	}
}

// idle is a loop that had not worked before the force.
func idle(f *force) {
	f.volts = flatBase()
	f.own.base = trimBase{n: 40, seconds: 12, low: 0, high: 0.8, flatFor: 12}
}

// otherBank has the trim of the other bank go so far, %.
func otherBank(up, moved float64, is answerState) func(*force) {
	return func(f *force) {
		f.other = answer{state: is, up: up, n: 30, course: course{now: moved, nowAt: f.end, top: max(moved, 0), peak: max(moved, 0)}}
	}
}

// judged is a watcher's view of forces, each made by a change of a good one.
func judged(by By, forces ...*force) *assessment {
	w := NewWatcher(Config{By: by})
	w.now = 120
	w.forces = forces
	return assess(w)
}

// with is a good force of a side, changed.
func with(side Side, changes ...func(*force)) *force {
	f := good(side)
	for _, c := range changes {
		c(f)
	}
	return f
}

// How far each proof comes by what a force has shown; every case holds for a lean force and, mirrored, for a rich one. The
// meaning of each proof is the README's: only what the computer or the sensor did counts, and where the force could not have
// shown it, it is not failed.
func TestProofsOfOneForce(t *testing.T) {
	type states struct{ command, delivery, sensor, bank, recovery State }
	all := states{Proven, Proven, Proven, Proven, Proven}
	change := func(f func(*states)) states {
		s := all
		f(&s)
		return s
	}
	for _, c := range []struct {
		name   string
		by     By
		change func(*force)
		want   states
	}{
		{"all went well", ByWire, func(*force) {}, all},

		// trim
		{"with the force", ByWire, func(f *force) { quietTrim(15)(f); f.own.state = wrongWay; f.own.now = -8 },
			states{Failed, Untested, Untested, Untested, Unclear}},
		{"with the force, but at a poor contact", ByWire, func(f *force) { quietTrim(15)(f); f.own.state = wrongWay; f.own.now = -8; f.share = 0.9 },
			states{Unclear, Untested, Untested, Untested, Unclear}},
		{"with the force, the loop open for a while", ByWire, func(f *force) { quietTrim(15)(f); f.own.state = wrongWay; f.own.now = -8; f.wasOpen = true },
			states{Unclear, Untested, Untested, Untested, Unclear}},
		{"with the mixture: purge may be that", ByMixture, func(f *force) {
			quietTrim(15)(f)
			f.own.state = wrongWay
			f.own.now = -8
			f.strong = 3
		},
			states{Unclear, Untested, "", Untested, Unclear}},
		{"pegged at its limit", ByWire, func(f *force) { quietTrim(15)(f); f.own.state = cannot }, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"silent, though it steered before: paused perhaps", ByWire, quietTrim(15), states{Unclear, Untested, Untested, Untested, Unclear}},
		{"silent, and it never steered", ByWire, func(f *force) { quietTrim(15)(f); idle(f) }, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"silent for longer than any pause", ByWire, func(f *force) { quietTrim(31)(f); idle(f) }, states{Failed, Untested, Untested, Untested, Unclear}},
		{"the same, where it had hunted beyond its middle on the other side alone, before long-term trim learned", ByWire, func(f *force) {
			quietTrim(31)(f)
			f.own.base = trimBase{n: 40, seconds: 12, low: -0.8 - 0.8*f.own.up, high: 0.8 - 0.8*f.own.up, shortLow: -0.8 - 0.8*f.own.up, shortHigh: 0.8 - 0.8*f.own.up}.learned(func(v float64) float64 { return v + 2.4*f.own.up })
		}, states{Failed, Untested, Untested, Untested, Unclear}},
		{"but trim had jumped to zero just before", ByWire, func(f *force) { quietTrim(31)(f); idle(f); f.paused = true }, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"but the reading had lain on that side all the time", ByWire, func(f *force) {
			quietTrim(31)(f)
			idle(f)
			f.volts = voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.02, high: 0.06, lean: stays{n: 1, mean: 30, longest: 30, shape: 1}}
			f.volts.rich = f.volts.lean
		}, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"given up meanwhile, which fell with the force", ByWire, func(f *force) {
			quietTrim(15)(f)
			f.own.state, f.own.now, f.letGo, f.letGoAt = wrongWay, -8, byTrim, 18
		}, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"and a poor contact is silent as well", ByWire, func(f *force) { quietTrim(15)(f); f.own.state = answerOpen; f.share = 0.9 },
			states{Unclear, Untested, Untested, Untested, Unclear}},
		{"not read", ByWire, func(f *force) { quietTrim(15)(f); f.own.state, f.own.n = answerOpen, 0 }, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"too short", ByWire, func(f *force) { quietTrim(3)(f); f.own.state = answerOpen }, states{Unclear, Untested, Untested, Untested, Unclear}},
		{"the loop opened first", ByWire, func(f *force) {
			quietTrim(8)(f)
			f.own.state, f.opened, f.openedAt, f.wasOpen = answerOpen, true, 18, true
		}, states{Unclear, Untested, Unclear, Untested, Unclear}},
		{"the computer let go first", ByWire, func(f *force) { quietTrim(8)(f); f.own.state, f.letGo, f.letGoAt = answerOpen, byStatus, 18 },
			states{Unclear, Untested, Untested, Untested, Unclear}},

		// where it stopped
		{"to its middle and no further, for long", ByWire, func(f *force) {
			f.own.start, f.own.raw, f.own.rawTop, f.own.steadyAt = -15, 0.5*f.own.up, 0.5, 12
			f.own.now, f.own.top, f.own.peak = 0, 0, 0
		}, change(func(s *states) { s.command = Failed })},
		{"the same, but the hold was poor", ByWire, func(f *force) {
			f.own.start, f.own.raw, f.own.rawTop, f.own.steadyAt, f.share = -15, 0.5*f.own.up, 0.5, 12, 0.9
			f.own.now, f.own.top, f.own.peak = 0, 0, 0
		}, change(func(s *states) { s.command = Unclear })},
		{"just past its middle", ByWire, func(f *force) {
			f.own.start, f.own.raw, f.own.rawTop = -15, 0.2*f.own.up, 0.3
		}, change(func(s *states) { s.command = Unclear })},
		{"at a limit", ByWire, func(f *force) { f.own.limit, f.own.limitRaw = true, 15 }, all},

		// delivery
		{"the rear sensor shows it, the forced one not", ByWire, func(f *force) {
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
		},
			change(func(s *states) { s.sensor = Unclear })}, // it cycled before, so perhaps it did not follow
		{"neither, of a sensor that swung by chance", ByWire, func(f *force) {
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
			wentOn(f)
			f.volts.lean, f.volts.rich = staysOf([]float64{0.1, 3, 0.2, 5}), staysOf([]float64{0.1, 3, 0.2, 5})
		}, change(func(s *states) { s.delivery, s.sensor = Failed, Unclear })},
		{"neither, of a sensor that cycled evenly, as where purge brings it back", ByWire, func(f *force) {
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
			wentOn(f)
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"neither, but the rear sensor swings as where the mixture follows", ByWire, func(f *force) {
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
			f.down.answered = false
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"neither, but the sensor never cycled", ByWire, func(f *force) {
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
			wentOn(f)
			f.volts = flatBase()
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Failed })},
		{"neither, with too little oxygen for a catalyst", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			wentOn(f)
			f.down.oxygen = 2.9
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"neither, the branch perhaps open", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect, openReading: openReading{doubtful: true}}
			wentOn(f)
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"no rear sensor", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			f.down = downstream{}
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"no rear sensor of its own, the one behind both banks went", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			f.shared, f.down = f.down, downstream{}
			f.shared.hasBase = true
		}, change(func(s *states) { s.sensor = Unclear })},
		{"no rear sensor of its own, the other bank's did not go", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			f.shared, f.down = f.down, downstream{}
			f.shared.hasBase, f.shared.answered = true, false
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"the rear sensor lay there before", ByWire, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			f.down.answered, f.down.blind = false, true
		}, change(func(s *states) { s.delivery, s.sensor = Unclear, Unclear })},
		{"no rear sensor, the forced one tells", ByWire, func(f *force) { f.down = downstream{} }, all},
		{"no rear sensor, the forced one tells but swings by itself", ByWire, func(f *force) {
			f.down = downstream{}
			f.volts.lean, f.volts.rich = staysOf([]float64{0.1, 9, 0.2, 30}), staysOf([]float64{0.1, 9, 0.2, 30})
			f.rel.stillLeft, f.rel.lastOn = -0.8, recent.Reading{Lo: 60, Hi: 60, V: 0.8} // it stayed long after trim was back
		}, change(func(s *states) { s.delivery = Unclear })},
		{"the forced one left long before trim was back", ByWire, func(f *force) { f.rel.stillLeft, f.rel.lastOn = 0.9, recent.Reading{Lo: 28, Hi: 28, V: 0.8} },
			change(func(s *states) { s.sensor = Unclear })},
		{"late", ByWire, func(f *force) { f.rel.state, f.rel.lastOff = sensorLate, recent.Reading{Lo: 28, Hi: 28, V: 0.3} }, change(func(s *states) { s.sensor = Unclear })},
		{"released too early", ByWire, func(f *force) { f.rel.state = sensorNotYet }, change(func(s *states) { s.sensor = Unclear })},

		// bank and way back
		{"the other bank answers alone", ByWire, func(f *force) {
			quietTrim(15)(f)
			f.emittedOther = true
			f.other = answer{state: answered, up: f.own.up, n: 30, course: course{now: 12, top: 12}}
		}, states{Unclear, Untested, Untested, Failed, Unclear}},
		{"the other bank answers too", ByWire, func(f *force) {
			f.other = answer{state: answered, up: f.own.up, n: 30, course: course{now: 12, top: 12}}
		},
			change(func(s *states) { s.bank = Unclear })},
		{"the other bank stands", ByWire, func(f *force) { f.other = answer{state: silent, up: f.own.up, n: 30} }, all},
		{"it does not cycle again", ByWire, func(f *force) { f.resumed, f.rel.resumed, f.rel.backSince = false, false, 40 },
			change(func(s *states) { s.recovery = Failed })},
		{"not watched for long enough", ByWire, func(f *force) { f.resumed, f.rel.resumed, f.rel.backSince = false, false, 100 },
			change(func(s *states) { s.recovery = Unclear })},
		{"the loop is open", ByWire, func(f *force) {
			f.resumed, f.rel.resumed, f.rel.backSince, f.opened, f.openedAt = false, false, 40, true, 24
		}, change(func(s *states) { s.recovery = Unclear })},
		{"it did not cycle before", ByWire, func(f *force) {
			f.resumed, f.rel.resumed, f.rel.backSince, f.volts = false, false, 40, flatBase()
		}, change(func(s *states) { s.recovery = Unclear })},
		{"still held", ByWire, func(f *force) { f.ended, f.resumed, f.rel = false, false, release{} },
			change(func(s *states) { s.sensor, s.recovery = Untested, Untested })},
	} {
		for _, side := range []Side{Lean, Rich} {
			a := judged(c.by, with(side, c.change))
			got := states{a.command(side).State, a.delivery().State, a.sensor(side.Opposite()).State, a.bankProof().State, a.recovery().State}
			if c.want.sensor == "" {
				got.sensor = ""
			}
			if got != c.want {
				t.Errorf("%s, %s:\n got %v\nwant %v", c.name, side, got, c.want)
			}
			if other := a.command(side.Opposite()).State; other != Untested {
				t.Errorf("%s, %s: the side that was not forced is %s", c.name, side, other)
			}
		}
	}
}

// Several forces: a failure beside a success stays said, and what two of them show together.
func TestProofsOfSeveralForces(t *testing.T) {
	later := func(f *force) { f.beginLo, f.beginHi, f.begin, f.endLo, f.endHi, f.end = 60, 60.1, 60, 75, 75.1, 75 }
	mute := func(f *force) {
		f.volts = flatBase()
		f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: f.rel.expect}
	}
	noDown := func(f *force) { f.down = downstream{} }
	silentBoth := func() []*force {
		return []*force{with(Lean, quietTrim(15), idle), with(Rich, quietTrim(15), idle), with(Lean, later, quietTrim(15), idle), with(Rich, later, quietTrim(15), idle)}
	}
	for _, c := range []struct {
		name   string
		by     By
		forces func() []*force
		proof  func(*assessment) Proof
		want   State
	}{
		{"trim: silent once, then not: proven", ByWire, func() []*force { return []*force{with(Lean, quietTrim(15)), with(Lean, later)} },
			func(c *assessment) Proof { return c.command(Lean) }, Proven},
		{"trim: silent twice, a minute apart, and never the loop steered", ByWire,
			func() []*force {
				return []*force{with(Lean, quietTrim(15), idle), with(Lean, later, quietTrim(15), idle)}
			},
			func(c *assessment) Proof { return c.command(Lean) }, Failed},
		{"trim: silent on both sides twice", ByWire, silentBoth, func(c *assessment) Proof { return c.command(Rich) }, Failed},
		{"trim: the same, but it can go to the other: what keeps it still there keeps it still here", ByWire, silentBoth, func(c *assessment) Proof {
			for _, v := range []float64{0, 2.34} {
				c.w.fig.reach.Add(v)
			}
			return c.command(Rich)
		}, Unclear},
		{"trim: the same, but the loop steered before each: paused, or let go of", ByWire,
			func() []*force { return []*force{with(Lean, quietTrim(15)), with(Lean, later, quietTrim(15))} },
			func(c *assessment) Proof { return c.command(Lean) }, Unclear},
		{"trim: silent twice within a pause", ByWire,
			func() []*force {
				return []*force{with(Lean, quietTrim(15), idle), with(Lean, quietTrim(15), idle, func(f *force) { f.begin, f.end = 35, 50 })}
			},
			func(c *assessment) Proof { return c.command(Lean) }, Unclear},
		{"trim: silent on this side twice, answers the other: one way only, or paused", ByWire,
			func() []*force {
				return []*force{with(Lean, quietTrim(15), idle), with(Lean, later, quietTrim(15), idle), with(Rich)}
			},
			func(c *assessment) Proof { return c.command(Lean) }, Unclear},
		{"trim: it stands at its middle, as it does where the computer gives it up", ByWire, func() []*force {
			stands := func(f *force) {
				f.own = answer{up: f.own.up, n: 60, began: f.begin, hi: f.begin, course: course{start: -5, low: -5, bottom: -5, nowAt: f.end},
					stillness: f.own.stillness, steadiness: steadiness{steadyAt: f.begin + 2}, onsetFit: f.own.onsetFit}
			}
			return []*force{with(Lean, func(f *force) { f.own.state, f.letGo, f.letGoAt = answerOpen, byTrim, f.begin+7 }), with(Rich, later, stands)}
		}, func(c *assessment) Proof { return c.command(Rich) }, Unclear},
		{"sensor: told once, not the other time", ByWire, func() []*force { return []*force{with(Lean), with(Lean, later, mute)} },
			func(c *assessment) Proof { return c.sensor(Rich) }, Unclear},
		{"sensor: late once, told once", ByWire, func() []*force {
			return []*force{with(Lean, func(f *force) { f.rel.state, f.rel.lastOff = sensorLate, recent.Reading{Lo: 28, Hi: 28, V: 0.3} }), with(Lean, later)}
		}, func(c *assessment) Proof { return c.sensor(Rich) }, Proven},
		{"delivery: both sides told by a sensor that swings", ByWire, func() []*force {
			swings := func(f *force) {
				noDown(f)
				f.volts.lean, f.volts.rich = staysOf([]float64{0.1, 9, 0.2, 30}), staysOf([]float64{0.1, 9, 0.2, 30})
				f.rel.stillLeft, f.rel.lastOn = -0.8, recent.Reading{Lo: 60, Hi: 60, V: 0.8}
			}
			return []*force{with(Lean, swings), with(Rich, later, swings)}
		}, func(c *assessment) Proof { return c.delivery() }, Proven},
		{"delivery: what one release shows, another denies", ByWire, func() []*force {
			return []*force{with(Lean, noDown), with(Lean, later, noDown, func(f *force) {
				f.rel = release{state: sensorVague, trimMade: 10, at: 75, lastOff: recent.Reading{Lo: 78, Hi: 78, V: 0.1}, expect: Rich}
			})}
		}, func(c *assessment) Proof { return c.delivery() }, Unclear},
		{"delivery: the same, but the rear sensor shows it", ByWire, func() []*force {
			return []*force{with(Lean), with(Lean, later, func(f *force) {
				f.rel = release{state: sensorVague, trimMade: 10, at: 75, lastOff: recent.Reading{Lo: 78, Hi: 78, V: 0.1}, expect: Rich}
			})}
		}, func(c *assessment) Proof { return c.delivery() }, Proven},
		{"recovery: the last force tells", ByWire, func() []*force {
			return []*force{with(Lean), with(Rich, later, func(f *force) { f.resumed, f.rel.resumed, f.rel.backSince = false, false, 80 })}
		}, func(c *assessment) Proof { return c.recovery() }, Failed},
		{"recovery: but not of one that stays on a side for a third of the time", ByWire, func() []*force {
			return []*force{with(Lean, func(f *force) {
				f.resumed, f.rel.resumed, f.rel.backSince, f.volts.lean = false, false, 80, staysOf([]float64{1, 15})
			})}
		}, func(c *assessment) Proof { return c.recovery() }, Unclear},
		{"sensor lean: as all the time before, but twice it moved with trim", ByWire, func() []*force { return []*force{with(Rich, lainLean(0.08)), with(Rich, later, lainLean(0.08))} },
			func(c *assessment) Proof { return c.sensor(Lean) }, Proven},
		{"sensor lean: as all the time before, and it lay there", ByWire, func() []*force { return []*force{with(Rich, lainLean(0.03))} },
			func(c *assessment) Proof { return c.sensor(Lean) }, Unclear},
		{"recovery: once is enough where the last was not watched", ByWire, func() []*force {
			return []*force{with(Lean), with(Rich, later, func(f *force) { f.resumed, f.rel.resumed, f.rel.backSince = false, false, 110 })}
		}, func(c *assessment) Proof { return c.recovery() }, Proven},
		{"recovery: the reading changed side, but before the next force trim stood far out", ByWire, func() []*force {
			return []*force{with(Lean), with(Rich, later, func(f *force) {
				f.resumed, f.rel.resumed, f.rel.backSince, f.own.stood, f.own.start = false, false, 110, 6, 20
			})}
		}, func(c *assessment) Proof { return c.recovery() }, Unclear},
		{"recovery: the reading changed side, but in the end trim stands far out", ByWire, func() []*force { return []*force{with(Lean)} },
			func(c *assessment) Proof {
				for t := range 40 {
					c.w.trim.short.Add(recent.Reading{Lo: 100 + float64(t)/2, Hi: 100 + float64(t)/2, V: 25})
				}
				return c.recovery()
			}, Unclear},
		{"trim: with the force, and what the other bank's did was hardly read: the banks may be exchanged", ByWire, func() []*force {
			return []*force{with(Lean, quietTrim(15), func(f *force) { f.own.state, f.own.now, f.other = wrongWay, -8, answer{n: 2} })}
		}, func(c *assessment) Proof {
			c.w.otherTrim.short.Add(recent.Reading{Lo: 1, Hi: 1})
			return c.command(Lean)
		}, Unclear},
		{"trim: with the force, and the other bank's stood", ByWire, func() []*force {
			return []*force{with(Lean, quietTrim(15), otherBank(1, 0, silent), func(f *force) { f.own.state, f.own.now = wrongWay, -8 })}
		}, func(c *assessment) Proof {
			c.w.otherTrim.short.Add(recent.Reading{Lo: 1, Hi: 1})
			return c.command(Lean)
		}, Failed},
		{"input: a force that was seen", ByWire, func() []*force { return []*force{with(Lean)} }, func(c *assessment) Proof { return c.input() }, Proven},
		{"input: a force that the other bank's reading showed", ByWire, func() []*force { return []*force{with(Lean, func(f *force) { f.bank = 2 })} }, func(c *assessment) Proof { return c.input() }, Unclear},
		{"input: that, and one that its own showed", ByWire, func() []*force { return []*force{with(Lean, func(f *force) { f.bank = 2 }), with(Rich)} }, func(c *assessment) Proof { return c.input() }, Proven},
		{"trim: with the force, after an answer to the other side", ByWire, func() []*force {
			return []*force{with(Rich), with(Lean, quietTrim(15), func(f *force) { f.own.state, f.own.now = wrongWay, -8 })}
		}, func(c *assessment) Proof { return c.command(Lean) }, Unclear},
		{"input: none", ByWire, func() []*force { return nil }, func(c *assessment) Proof { return c.input() }, Untested},
		{"input: only in a car that was not ready", ByWire, func() []*force { return []*force{with(Lean, func(f *force) { f.ready = false })} },
			func(c *assessment) Proof { return c.input() }, Untested},
		{"input by mixture: a reading that did not follow", ByMixture, func() []*force {
			return []*force{with(Lean, func(f *force) { f.volts, f.level, f.rel = flatBase(), 0.43, release{} })}
		}, func(c *assessment) Proof { return c.input() }, Unclear},
		{"bank by mixture: it reaches both banks", ByMixture, func() []*force {
			return []*force{with(Lean, func(f *force) { f.other = answer{state: answered, up: 1, n: 30, course: course{now: 12, top: 12}} })}
		}, func(c *assessment) Proof { return c.bankProof() }, Untested},
		{"bank by mixture: the other bank's trim was not read", ByMixture, func() []*force { return []*force{with(Lean)} },
			func(c *assessment) Proof { return c.bankProof() }, Untested},
		{"bank by mixture: it was read, and stood", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, 0, silent))}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank by mixture: it hunts on within its range", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, 1, answerOpen))}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank by mixture: it creeps, and has not decided", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, 5, answerOpen))}
		}, func(c *assessment) Proof { return c.bankProof() }, Untested},
		{"bank by mixture: it goes the other way, as where sensors are crossed", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, -6, answerOpen))}
		}, func(c *assessment) Proof { return c.bankProof() }, Untested},
		{"bank by mixture: read three times", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, 0, answerOpen), func(f *force) { f.other.n = 3 })}
		}, func(c *assessment) Proof { return c.bankProof() }, Untested},
		{"bank by mixture: rich reached both, lean this one alone", ByMixture, func() []*force {
			return []*force{with(Rich, otherBank(-1, 12, answered)), with(Lean, later, otherBank(1, 0, silent))}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank by mixture: the other way round", ByMixture, func() []*force {
			return []*force{with(Lean, otherBank(1, 0, silent)), with(Rich, later, otherBank(-1, 12, answered))}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank: the reading of bank 2 followed", ByWire, func() []*force { return []*force{with(Lean, quietTrim(15), func(f *force) { f.bank = 2 })} },
			func(c *assessment) Proof { return c.bankProof() }, Failed},
		{"bank: both sensors were held, this one's bank answered", ByWire, func() []*force {
			return []*force{with(Lean), with(Lean, later, quietTrim(15), func(f *force) { f.bank = 2 })}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank: the other sensor was held first and its own bank answered, then this one's", ByWire, func() []*force {
			return []*force{with(Lean, quietTrim(15), otherBank(1, 12, answered), func(f *force) { f.bank, f.emittedOther = 2, true }), with(Rich, later)}
		}, func(c *assessment) Proof { return c.bankProof() }, Proven},
		{"bank: the other sensor was held first, then this one's, and no trim decides", ByWire, func() []*force {
			return []*force{with(Lean, quietTrim(15), func(f *force) { f.bank = 2 }), with(Rich, later, quietTrim(15), func(f *force) { f.seen = true })}
		}, func(c *assessment) Proof { return c.bankProof() }, Unclear},
		{"bank: this sensor was held and bank 2 answered, though its own did later", ByWire, func() []*force {
			return []*force{with(Lean, quietTrim(15), otherBank(1, 12, answered), func(f *force) { f.emittedOther = true }), with(Rich, later)}
		}, func(c *assessment) Proof { return c.bankProof() }, Unclear},
		{"bank: the same, where its own computer let go of the sensor before", ByWire, func() []*force {
			return []*force{with(Rich, quietTrim(15), func(f *force) { f.letGo = byTrim }), with(Lean, later, quietTrim(15), otherBank(1, 12, answered), func(f *force) { f.emittedOther = true })}
		}, func(c *assessment) Proof { return c.bankProof() }, Unclear},
		{"bank: the same, where its own trim stood", ByWire, func() []*force {
			return []*force{with(Rich, quietTrim(15)), with(Lean, later, quietTrim(15), otherBank(1, 12, answered), func(f *force) { f.emittedOther = true })}
		}, func(c *assessment) Proof { return c.bankProof() }, Failed},
		{"sensor by mixture: it said so itself", ByMixture, func() []*force { return []*force{with(Rich, func(f *force) { f.strong = 3 })} },
			func(c *assessment) Proof { return c.sensor(Rich) }, Proven},
		{"sensor by mixture: not far enough", ByMixture, func() []*force { return []*force{with(Rich, func(f *force) { f.level, f.strong = 0.62, 0 })} },
			func(c *assessment) Proof { return c.sensor(Rich) }, Unclear},
	} {
		if got := c.proof(judged(c.by, c.forces()...)); got.State != c.want {
			t.Errorf("%s: %s, want %s (%v)", c.name, got.State, c.want, got.Why)
		}
	}
	other, own := with(Lean, func(f *force) { f.bank, f.begin = 2, 1 }), with(Rich, later)
	if got := judged(ByWire, other, own).input(); got.Evidence["begin_s"] != own.begin {
		t.Errorf("both sensors were held, and the other's is named: %v", got.Why)
	}
}

// A force in which trim went farther than it hunts and came back was no silence of a computer that cannot: it rested, or the sensor was let go.
func TestGoneAndComeBack(t *testing.T) {
	for top, want := range map[float64]State{1.6: Failed, 3.2: Unclear} { // it hunts up to 1.6 %
		f := with(Rich, quietTrim(40), idle, func(f *force) {
			f.own.base.low, f.own.base.high, f.own.top, f.own.peak, f.own.steadyAt = -1.6, 1.6, top, top, f.begin+5
		})
		if got := judged(ByWire, f).command(Rich); got.State != want {
			t.Errorf("to %.1f %%: %s, %v", top, got.State, got.Why)
		}
	}
}

// A fault of the command lasts: where trim was read beyond zero at any time, moved, its silence was a rest; trim that went with the force is none.
func TestAbleElsewhen(t *testing.T) {
	stops := func(f *force) {
		quietTrim(31)(f)
		idle(f)
	}
	against := func(f *force) { quietTrim(15)(f); f.own.state, f.own.now = wrongWay, -8 }
	for _, c := range []struct {
		force func(*force)
		trims []float64
		want  State
	}{
		{stops, nil, Failed}, {stops, []float64{5, 5}, Failed}, {stops, []float64{-6, 0}, Failed}, {stops, []float64{0, 0.8}, Failed},
		{stops, []float64{0, 1.6}, Unclear}, {stops, []float64{-6, 4}, Unclear}, {against, []float64{-6, 4}, Failed},
	} {
		for _, side := range []Side{Lean, Rich} {
			a := judged(ByWire, with(side, c.force))
			for _, v := range c.trims {
				a.w.fig.addTrim(map[Side]float64{Lean: 1, Rich: -1}[side]*v, false)
			}
			if got := a.command(side); got.State != c.want {
				t.Errorf("%s, trims %v: %s, %v", side, c.trims, got.State, got.Why)
			}
		}
	}
}

// What showed on the other bank's reading is crossed plugs, unless another hold showed on neither: then the wrong wire was taken once.
func TestShownOnNeitherBank(t *testing.T) {
	for _, c := range []struct {
		follow markOutcome
		trim   float64 // %, at rest
		want   State
	}{
		{markOutcome{}, 0, Failed}, {markOutcome{no: true, beside: 20}, 0, Unclear}, {markOutcome{no: true, other: true}, 0, Failed},
		{markOutcome{no: true}, 0, Failed}, // the other bank's was not read
		{markOutcome{vague: true, pulled: true, beside: 20}, 0, Unclear},
		{markOutcome{vague: true, pulled: true, beside: 20}, -20, Failed}, // as exchanged plugs make it
		{markOutcome{vague: true, beside: 20}, 0, Failed},
	} {
		a := judged(ByWire, with(Rich, quietTrim(15), func(f *force) { f.bank, f.seen, f.emittedOther, f.own.base.median = 2, true, true, c.trim }))
		a.w.bank, a.w.other = 1, 2
		a.w.follow[sideIndex(Lean)] = c.follow
		if got := a.bankProof(); got.State != c.want {
			t.Errorf("%+v: %s, %v", c.follow, got.State, got.Why)
		}
	}
	a := judged(ByWire, with(Rich, quietTrim(15), func(f *force) { f.bank, f.seen, f.emittedOther = 2, true, true }))
	a.w.bank, a.w.other = 1, 2
	a.w.follow[sideIndex(Lean)] = markOutcome{no: true, beside: 20, from: 60, secs: 15}
	a.w.passedOver = []Weighed{{Side: Lean, Begin: 61, End: 74, Bank: 2, LogOdds: 3}}
	if got := a.bankProof(); got.State != Failed {
		t.Errorf("a hold that was likelier than not on the other bank: %s, %v", got.State, got.Why)
	}
}

// A force that trim answered up to its middle does not speak against another in which it stopped there, in whatever order; one in which it
// went beyond does.
func TestUpToItsMiddle(t *testing.T) {
	answers := func(to float64) *force {
		return with(Lean, func(f *force) {
			f.own.start, f.own.raw, f.own.rawTop, f.own.now, f.own.top, f.own.peak = -6, to, to, to, to, to
		})
	}
	stops := with(Lean, func(f *force) {
		f.own.start, f.own.raw, f.own.rawTop, f.own.now, f.own.top, f.own.peak, f.own.steadyAt = -6, 0, 0, 0, 0, 0, 16
	})
	for to, want := range map[float64]State{-0.8: Failed, 9: Proven} {
		for _, forces := range [][]*force{{answers(to), stops}, {stops, answers(to)}} {
			c := judged(ByWire, forces...)
			for _, v := range []float64{-6, to, 0} {
				c.w.fig.addTrim(v, true)
			}
			if got := c.command(Lean); got.State != want {
				t.Errorf("to %.1f %%: %s, %v", to, got.State, got.Why)
			}
		}
	}
}

// What a sensor, or an input, has done by itself speaks against its being dead.
func TestNotDead(t *testing.T) {
	mute := func(lean float64) *force {
		return with(Rich, func(f *force) {
			f.volts = voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.8, high: 0.9, lean: staysOf([]float64{lean})}
			f.rel = release{state: sensorMute, trimMade: 15, at: 25, decidedAt: 31, expect: Lean}
		})
	}
	for lean, want := range map[float64]State{0.2: Failed, 3: Unclear} { // 0.2 s is the edge of a force, 3 s is none
		if got := judged(ByWire, mute(lean)).sensor(Lean); got.State != want {
			t.Errorf("%v s lean by itself before: %s, %v", lean, got.State, got.Why)
		}
	}
	c := judged(ByWire, mute(0.2))
	for i := range 10 { // it swings while nobody holds anything
		c.w.own.addVolts(recent.Reading{Lo: 40 + float64(i), Hi: 40 + float64(i), V: []float64{0.1, 0.8}[i%2]}, true)
	}
	if got := c.sensor(Lean); got.State != Unclear {
		t.Errorf("it swings after the release: %s, %v", got.State, got.Why)
	}

	for _, x := range []struct {
		obeys, swings bool
		want          State
	}{{false, false, Failed}, {true, false, Unclear}, {false, true, Unclear}} {
		c := judged(ByWire)
		c.w.follow[sideIndex(Lean)] = markOutcome{no: true, secs: 20, level: 0.5}
		for i := 0; x.swings && i < 8; i++ {
			c.w.fig.addVolts(recent.Reading{Lo: float64(i), Hi: float64(i), V: []float64{0.1, 0.8}[i%2]}, false)
		}
		c.w.follow[sideIndex(Rich)] = markOutcome{vague: true, obeys: x.obeys, why: reason.HeldForAMoment.Of()}
		if got := c.input(); got.State != x.want {
			t.Errorf("it went on as before at lean, swinging %v, at rich it obeyed %v: %s, %v", x.swings, x.obeys, got.State, got.Why)
		}
	}

	for _, x := range []struct {
		name    string
		logOdds float64 // of a hold that was not called a force
		bank    int
		want    State
	}{{"more likely held than not", 2, 1, Unclear}, {"more likely not", -2, 1, Failed}, {"the other bank's", 2, 2, Failed}} {
		c := judged(ByWire)
		c.w.follow[sideIndex(Lean)] = markOutcome{no: true, secs: 20, level: 0.5}
		c.w.passedOver = []Weighed{{Side: Rich, Begin: 30, End: 47, Level: 0.9, LogOdds: x.logOdds, Bank: x.bank}}
		if got := c.input(); got.State != x.want {
			t.Errorf("it went on as before at lean, another stretch was %s: %s, %v", x.name, got.State, got.Why)
		}
	}

	for _, x := range []struct{ open, spoke bool }{{false, false}, {true, false}, {false, true}, {true, true}} { // and what the downstream sensor contradicts may be an open branch
		f := with(Rich, func(f *force) {
			f.volts = voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.5, high: 0.9}
			f.rel = release{state: sensorVague, expect: Lean, why: reason.SideHardly.Of(), openReading: openReading{open: x.open, doubtful: x.open}}
		})
		before := with(Lean, func(f *force) { f.volts = flatBase() })
		if !x.spoke { // one that has died between the sides says neither
			before.rel = release{state: sensorNotYet}
		}
		c := judged(ByWire, before, f)
		i := sideIndex(Lean)
		c.w.rest.mute[i], c.w.rest.trimThen[i], c.w.rest.muteAt[i] = 30, -22, f.end+30
		if got := c.sensor(Lean); (got.State == Failed) == (x.open && x.spoke) {
			t.Errorf("trim cuts, downstream it is lean, %+v: %s, %v", x, got.State, got.Why)
		}
	}

	for _, x := range []struct {
		stays []float64
		want  bool
	}{{nil, true}, {[]float64{0.3}, true}, {[]float64{3}, false}, {[]float64{0.3, 0.3}, false}} {
		f := with(Rich, func(f *force) {
			f.volts = voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.04, high: 0.89, rich: staysOf(x.stays)}
		})
		if got := judged(ByWire, f).onlyLean(); got != x.want {
			t.Errorf("rich for %v s: only ever lean %v", x.stays, got)
		}
	}
}

// A force that does not count: while the conditions did not hold, or, where each is announced, one that nobody announced.
func TestForcesThatCount(t *testing.T) {
	for _, c := range []struct {
		name              string
		by                By
		marks             int
		change            func(*force)
		counts, discounts int
	}{
		{"as it was", ByWire, 0, func(*force) {}, 1, 0},
		{"not ready", ByWire, 0, func(f *force) { f.ready = false }, 0, 1},
		{"mixture, not announced, though others were", ByMixture, 1, func(*force) {}, 0, 0},
		{"mixture, announced", ByMixture, 1, func(f *force) { f.marked = true }, 1, 0},
		{"mixture, nobody says anything", ByMixture, 0, func(*force) {}, 1, 0},
		{"wire, the other bank's reading lay still, not announced", ByWire, 1, func(f *force) { f.bank = 2 }, 0, 0},
		{"wire, the other bank's, announced", ByWire, 1, func(f *force) { f.bank, f.marked = 2, true }, 1, 0},
	} {
		w := NewWatcher(Config{By: c.by})
		w.marks, w.forces = c.marks, []*force{with(Lean, c.change)}
		if a := assess(w); len(a.forces) != c.counts || len(a.discounted) != c.discounts {
			t.Errorf("%s: %d count, %d do not", c.name, len(a.forces), len(a.discounted))
		}
	}
}

// The one step that would settle an open verdict: what hides all behind it comes first, and the step's own name says it.
func TestDecidingStep(t *testing.T) {
	leanOnly := func(f *force) {
		f.volts = voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.03, high: 0.06, lean: staysOf([]float64{30})}
		f.own.base.median = 20
	}
	for _, c := range []struct {
		name   string
		by     By
		watch  func(*Watcher)
		forces []*force
		proofs map[ProofID]State
		end    Conclusion
		want   Step
	}{
		{name: "one side only", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofAddsFuel: Proven}, end: PartlyProven, want: RichStep},
		{name: "the other side only", forces: []*force{good(Rich)}, proofs: map[ProofID]State{ProofCutsFuel: Proven}, end: PartlyProven, want: LeanStep},
		{name: "it left closed loop", forces: []*force{with(Lean, func(f *force) { f.opened, f.openedAt = true, 18 })}, proofs: map[ProofID]State{ProofAddsFuel: Unclear}, want: ShorterHold},
		{name: "the engine stopped in it, and the loop opened", forces: []*force{with(Lean, func(f *force) { f.opened, f.openedAt, f.stalled = true, 18, true })}, want: LeanStep},
		{name: "the engine stopped on the rich side", forces: []*force{good(Lean), with(Rich, func(f *force) { f.letGo, f.stalled = byStatus, true })},
			proofs: map[ProofID]State{ProofAddsFuel: Proven}, want: RichStep},
		{name: "it stopped, and the side was shown all the same", forces: []*force{with(Lean, func(f *force) { f.stalled = true })},
			proofs: map[ProofID]State{ProofAddsFuel: Proven}, want: LongerHold},
		{name: "it let go", forces: []*force{with(Lean, func(f *force) { f.letGo, f.letGoAt = byTrim, 18 })}, want: ShorterHold},
		{name: "the input is not clear", proofs: map[ProofID]State{ProofInput: Unclear}, want: LeanStep},
		{name: "the input is not clear on the rich side", watch: func(w *Watcher) { w.follow[1].vague = true }, proofs: map[ProofID]State{ProofInput: Unclear}, want: RichStep},
		{name: "by mixture, the reading does not follow", by: ByMixture, forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofInput: Unclear}, want: HoldWire},
		{name: "by mixture, nothing was seen", by: ByMixture, proofs: map[ProofID]State{ProofInput: Unclear}, want: FeedPropane},
		{name: "the branch may be open", forces: []*force{with(Lean, func(f *force) { f.rel.doubtful = true })}, proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: CloseBranch},
		{name: "the sensor failed, the mixture perhaps too", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofSensorRich: Failed}, want: FeedPropane},
		{name: "no room to add", forces: []*force{with(Lean, func(f *force) { f.own.state = cannot })}, want: FeedPropane},
		{name: "no room to cut", forces: []*force{with(Rich, func(f *force) { f.own.state = cannot })}, want: InduceLean},
		{name: "it does not cycle, which it did", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofRecovery: Failed, ProofAddsFuel: Unclear}, want: HandsOff},
		{name: "that alone", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofRecovery: Failed}, want: HandsOff},
		{name: "it did not cycle before: that keeps nothing open", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofRecovery: Unclear, ProofAddsFuel: Unclear}, want: LeanStep},
		{name: "the loop opened after the release, and the side was shown", forces: []*force{with(Lean, func(f *force) { f.opened, f.openedAt = true, f.endHi+8 })},
			proofs: map[ProofID]State{ProofAddsFuel: Proven, ProofSensorRich: Proven, ProofCutsFuel: Unclear}, want: RichStep},
		{name: "a hand slipped, and trim stood where the hold before had led it", forces: []*force{good(Lean), with(Lean, func(f *force) { f.own.state, f.after = cannot, good(Lean) })},
			proofs: map[ProofID]State{ProofAddsFuel: Unclear}, want: LeanStep},
		{name: "a hand slipped, and at rest there is hardly room either", forces: []*force{good(Lean), with(Lean, func(f *force) { f.own.state, f.after, f.own.base.median = cannot, good(Lean), 20 })},
			proofs: map[ProofID]State{ProofAddsFuel: Unclear}, want: FeedPropane},
		{name: "trim stopped, where no limit is known", forces: []*force{with(Rich, func(f *force) { f.own.limit, f.rel = true, release{state: sensorNotYet} })}, proofs: map[ProofID]State{ProofCutsFuel: Unclear}, want: RichStep},
		{name: "the branch was closed by the next hold", forces: []*force{with(Lean, func(f *force) { f.rel.doubtful = true }), good(Lean)}, proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: LeanStep},
		{name: "it read lean alone, and trim had gone far to add", forces: []*force{with(Rich, leanOnly)}, proofs: map[ProofID]State{ProofAddsFuel: Unclear}, want: LeakCheck},
		{name: "and rich once, as the loop had made it", forces: []*force{with(Lean, leanOnly), with(Rich, leanOnly, func(f *force) { f.volts.high, f.volts.rich = 0.8, staysOf([]float64{5}) })},
			proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: LeakCheck},
		{name: "adds, open", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofAddsFuel: Unclear, ProofDelivery: Unclear}, want: LeanStep},
		{name: "cuts, open", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofCutsFuel: Unclear, ProofSensorLean: Unclear}, want: RichStep},
		{name: "a hot cell", forces: []*force{with(Lean, func(f *force) { f.volts.high, f.rel.state, f.rel.strong, f.rel.grey = 0.77, sensorVague, 0, 9 })}, proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: CoolDown},
		{name: "one that goes higher by itself is none", forces: []*force{with(Lean, func(f *force) { f.rel.state, f.rel.strong, f.rel.grey = sensorVague, 0, 9 })}, proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: LeanStep},
		{name: "trim came to its limit, and that was too little to tell the sensor by", forces: []*force{with(Lean, func(f *force) { f.own.limit, f.rel = true, release{state: sensorNotYet} })}, proofs: map[ProofID]State{ProofSensorRich: Unclear}, want: FeedPropane},
		{name: "delivery alone", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofDelivery: Unclear}, want: LongerHold},
		{name: "the bank alone", forces: []*force{good(Lean)}, proofs: map[ProofID]State{ProofBank: Unclear}, want: ForceOther},
		{name: "nothing names a step", forces: []*force{good(Lean)}, want: LongerHold},
	} {
		if c.by == "" {
			c.by = ByWire
		}
		if c.end == "" {
			c.end = ConclusionUnclear
		}
		a := judged(c.by, c.forces...)
		if c.watch != nil {
			c.watch(a.w)
		}
		var proofs []Proof
		for _, id := range ProofOrder {
			s := c.proofs[id]
			if s == "" {
				s = Untested
			}
			proofs = append(proofs, Proof{ID: id, State: s})
		}
		got, next := a.next(c.end, proofs)
		if got != c.want || len(next) == 0 {
			t.Errorf("%s: %s, want %s (%v)", c.name, got, c.want, next)
		}
		if settled, _ := a.next(LoopProven, proofs); settled != "" {
			t.Errorf("%s: a verdict that is settled asks for %s", c.name, settled)
		}
	}
}

// Silence counts from the hold on where nothing could have moved trim before, as at its limit on the other side; else also what it stood before.
func TestSilenceAtTheOtherLimit(t *testing.T) {
	for _, c := range []struct {
		before float64 // %, in the force's direction
		held   float64 // s
		want   State
	}{{0, 15, Failed}, {-24.2, 15, Unclear}, {-24.2, 31, Failed}, {-5, 15, Failed}} {
		for _, side := range []Side{Lean, Rich} {
			a := judged(ByWire, with(side, quietTrim(c.held), func(f *force) {
				idle(f)
				f.own.stood, f.own.base.median = 20, c.before*f.own.up
				f.own.now, f.own.top, f.own.peak, f.own.start, f.own.raw = c.before, c.before, c.before, c.before, c.before*f.own.up
			}))
			if got := a.command(side); got.State != c.want {
				t.Errorf("%s, trim at %g %% before, held for %g s: %s, %v", side, c.before, c.held, got.State, got.Why)
			}
		}
	}
}

// lainLean makes a force whose sensor lay lean before it and at once after it, at 0.03 V, and later at that level, V.
func lainLean(later float64) func(*force) {
	return func(f *force) {
		f.rel = release{state: sensorVague, why: reason.AsAllTheTime.Of(Lean), expect: Lean, trimMade: 15, reached: reached{strong: 9}}
		l := &f.rel.lives
		for i := range 60 {
			t := 0.1 * float64(i)
			l.early.add(t, 0.03+0.001*float64(i%2), 15)
			l.late.add(20+t, later+0.001*float64(i%2), 0)
		}
	}
}
