package analysis

import (
	"fmt"
	"math"
	"testing"

	"pushback/analysis/recent"
)

// A lagCar cycles: the mixture at the cell goes from lean to rich and back as a loop would lead it, the cell follows with its
// lag, the input with its filter, both solved step by step as first-order lags; the port renews now and then what is read.
type lagCar struct {
	toRich, toLean float64 // s
	filter         float64
	half           float64 // s on each side
	step           float64 // s in which the mixture passes the cell's step; 0: at once
	rate, renewed  float64
	seconds        float64
}

func (c lagCar) run() *lagging {
	const dt = 0.005
	k := newTrack()
	l := &lagging{}
	emf, volts, shown, next, fresh := 0.1, 0.1, 0.1, 0.0, 0.0
	for t := 0.0; t < c.seconds; t += dt {
		at := math.Mod(t, 2*c.half)
		x, rising := at, true
		if at >= c.half {
			x, rising = at-c.half, false
		}
		share := 1.0
		if c.step > 0 {
			share = min(1, x/c.step)
		}
		gas, tau, trim := 0.1+0.75*share, c.toRich, 2-4*share
		if !rising {
			gas, tau, trim = 0.85-0.75*share, c.toLean, -2+4*share
		}
		emf += (gas - emf) * dt / (tau + dt)
		volts += (emf - volts) * dt / (c.filter + dt)
		if t >= fresh {
			shown, fresh = volts, fresh+c.renewed
		}
		if t < next {
			continue
		}
		next += 1 / c.rate
		p := recent.Reading{Lo: t - dt, Hi: t, V: math.Round(shown/0.005) * 0.005}
		k.add(p)
		l.addVolts(p, true, &k)
		l.addTrim(recent.Reading{Lo: t - dt, Hi: t, V: math.Round(trim*1.28) / 1.28}, false)
	}
	return l
}

// eachWay is a rate both ways.
func eachWay(rate float64) [2]float64 { return [2]float64{rate, rate} }

// What a first-order lag is, its own equation tells; a sound cell's is 0.05 to 0.2 s.
func TestLagOfSwings(t *testing.T) {
	for _, c := range []struct {
		name         string
		car          lagCar
		slow         bool
		toRich, toLe bool // the lag stated holds the true one
	}{
		{"sound, read often", lagCar{0.1, 0.06, 0, 1.5, 0, 20, 0, 30}, false, true, true},
		{"sound, behind a filter", lagCar{0.15, 0.1, 0.5, 1.5, 0, 20, 0, 60}, false, true, true},
		{"sound, renewed seldom", lagCar{0.15, 0.1, 0, 2, 0, 8, 0.8, 60}, false, true, true},
		{"sound, cycles as fast as it is renewed", lagCar{0.1, 0.1, 0, 0.43, 0, 8, 0.9, 120}, false, false, false},
		{"sound, cycles faster than it is read", lagCar{0.1, 0.1, 0, 0.27, 0, 1.7, 0, 120}, false, false, false},
		{"sound, a loop that takes 2 s through the step", lagCar{0.1, 0.06, 0, 4, 4, 20, 0, 60}, false, true, true},
		{"slow both ways", lagCar{1.2, 1.1, 0, 4, 0, 10, 0, 60}, true, true, true},
		{"slow to rich alone", lagCar{1.6, 0.1, 0, 4, 0, 10, 0, 60}, true, true, true},
		{"slow to lean alone", lagCar{0.1, 1.6, 0, 4, 0, 10, 0, 60}, true, true, true},
		{"slow to lean alone, seen twice: a mixture may have gone so slowly both times", lagCar{0.1, 2.6, 0, 4, 0, 10, 0, 19}, false, false, false},
		{"slow, at 4 readings/s", lagCar{1.3, 1.3, 0, 4, 0, 4, 0, 60}, true, true, true},
		{"slow, renewed each 0.5 s", lagCar{1.5, 1.5, 0, 4, 0, 8, 0.5, 60}, true, true, true},
		{"slow, small swings: not told, the cell may be flat", lagCar{1.5, 1.5, 0, 1, 0, 20, 0, 30}, false, false, false},
		{"hardly slow, and the loop takes 5 s", lagCar{0.3, 0.3, 0, 5, 5, 20, 0, 60}, false, true, true},
		{"half slow: not told, not excluded", lagCar{0.45, 0.45, 0, 2, 0, 10, 0, 60}, false, true, true},
	} {
		w := c.car.run().weigh(eachWay(2), 1/c.car.rate, c.car.renewed, portLag{c.car.filter, c.car.filter})
		if w.slow >= slowLimit != c.slow {
			t.Errorf("%s: weighed %.1f; %+v", c.name, w.slow, w.side)
		}
		for i, side := range []struct {
			tau  float64
			hold bool
		}{{c.car.toRich, c.toRich}, {c.car.toLean, c.toLe}} {
			if s := w.side[i]; side.hold && (!s.known || s.lo > side.tau || s.hi < side.tau) {
				t.Errorf("%s: the lag of %.2f s is not within %+v", c.name, side.tau, s)
			}
		}
	}
}

// What the swings leave open: a slow sensor shows all else as a sound one does, so its ring is proven only where its lag is excluded.
func TestMaybeSlow(t *testing.T) {
	sound := lagCar{0.1, 0.06, 0, 1.5, 0, 20, 0, 30}
	for _, c := range []struct {
		name string
		car  lagCar
		side Side
		end  Conclusion
		step Step
	}{
		{"sound, read often", sound, "", LoopProven, ""},
		{"sound, twice a second", lagCar{0.1, 0.06, 0, 2, 0, 2, 0, 60}, "", LoopProven, ""},
		{"sound, in a loop that takes 2 s through the step", lagCar{0.1, 0.06, 0, 4, 2, 10, 0, 60}, "", LoopProven, ""},
		{"slow to rich alone", lagCar{2, 0.1, 0, 5, 0, 10, 0, 60}, Rich, SensorSlow, ""},
		{"slow to lean alone, twice a second", lagCar{0.1, 2, 0, 5, 0, 2, 0, 60}, Lean, ConclusionUnclear, MoreReading},
		{"sensor or loop takes 9 s", lagCar{0.1, 0.06, 0, 9, 9, 10, 0, 120}, Rich, ConclusionUnclear, HandsOff},
		{"no swing was read", lagCar{0.1, 0.06, 0, 99, 0, 10, 0, 60}, Rich, ConclusionUnclear, HandsOff},
	} {
		l := c.car.run()
		if c.car.half > c.car.seconds {
			*l = lagging{}
		}
		w := l.weigh(eachWay(2), 1/c.car.rate, 0, portLag{})
		if side, most, open := w.maybeSlow(); side != c.side || open != (c.side != "") {
			t.Errorf("%s: %v, to %q %.2f s; %+v", c.name, open, side, most, w)
		}
		a := judged(ByWire, good(Lean), good(Rich))
		a.w.ready.said, a.w.ready.everReady, a.w.lag, a.w.volts.interval = true, true, *l, 1/c.car.rate
		if v := a.w.Verdict(); v.Conclusion != c.end || v.Decide != c.step {
			t.Errorf("%s: %s, decides %q; want %s, %q; %+v", c.name, v.Conclusion, v.Decide, c.end, c.step, w)
		}
	}
}

// A computer that jumps as the sensor changes side has quick strokes, and leads the mixture through the cell's step slowly all the same, as
// fast as its trim answers a force. Where trim answers quickly, nothing but the cell makes such swings.
func TestLagWhereTrimJumps(t *testing.T) {
	l := lagCar{0.1, 0.06, 0, 7, 6, 20, 0, 120}.run()
	l.strokes = lagCar{0.1, 0.06, 0, 7, 0, 20, 0, 120}.run().strokes
	if w := l.weigh(eachWay(0.5), 0.05, 0, portLag{}); w.slow >= slowLimit {
		t.Errorf("a slow loop: weighed %.1f; %+v", w.slow, w.side)
	}
	if w := l.weigh(eachWay(0), 0.05, 0, portLag{}); w.slow >= slowLimit {
		t.Errorf("one that answered no force: weighed %.1f; %+v", w.slow, w.side)
	}
	if w := l.weigh(eachWay(1.5), 0.05, 0, portLag{}); w.slow < slowLimit {
		t.Errorf("a quick loop: weighed %.1f; %+v", w.slow, w.side)
	}
}

// What trim creeps in the latter half of its strokes is read off the strokes themselves: a ramp goes on as it began, by hand 2 % in 1 s, a jump of
// 3 % at once creeps through 1 % in 2 s, half of it in the latter half of its time.
func TestCreepOfStrokes(t *testing.T) {
	for _, c := range []struct {
		name string
		at   func(share float64) float64 // %, of a stroke of 2 s
		want float64                     // s for 1 %
	}{
		{"a ramp", func(x float64) float64 { return 4 * x }, 0.5},
		{"a jump that creeps on", func(x float64) float64 { return min(3+x, 40*x) }, 2},
	} {
		var g strokes
		for i := range 2000 {
			s := float64(i) * 0.02
			x, up := math.Mod(s, 2)/2, int(s/2)%2 == 0
			trim := c.at(x) - 2
			if !up {
				trim = 2 - c.at(x)
			}
			trim += 0.13 * float64(int(s/2)) // so that each stroke is rounded otherwise
			g.addTrim(recent.Reading{Lo: s, Hi: s, V: math.Round(trim*1.28) / 1.28})
		}
		if _, creep, _, n := g.typical(); n < 10 || abs(creep/c.want-1) > 0.3 {
			t.Errorf("%s: %.2f s for 1 %%, want %.2f, of %d strokes", c.name, creep, c.want, n)
		}
	}
}

// How fast trim leads the mixture to a side is told by the force that it answered towards that side.
func TestLagNeedsAnAnswerToItsSide(t *testing.T) {
	l := lagCar{0.1, 1.6, 0, 4, 0, 10, 0, 60}.run() // slow to lean alone
	for rates, want := range map[[2]float64]bool{{2, 2}: true, {0, 2}: true, {2, 0}: false} {
		if w := l.weigh(rates, 0.1, 0, portLag{}); w.slow >= slowLimit != want {
			t.Errorf("%v: weighed %.1f", rates, w.slow)
		}
	}
}

// Swings that are too small to tell a lag by themselves tell it where the sensor is known to go further and trim to pass the cell's step: by
// hand, a lag of 1.5 s leaves tanh(2/6) = 0.32 of a square wave of 2 s.
func TestLagOfSmallSwings(t *testing.T) {
	for _, c := range []struct {
		name     string
		tau      float64
		ends     float64 // V, the range that it has shown besides
		strokes  float64 // of what trim went meanwhile, 4 %
		port     portLag
		interval float64
		lag      float64
		slow     bool
	}{
		{"slow", 1.5, 0.75, 1, portLag{0, 0.1}, 0.05, 1.5, true},
		{"slow, but never seen further", 1.5, 0, 1, portLag{0, 0.1}, 0.05, 0, false},
		{"a flat cell", 1.5, 0.4, 1, portLag{0, 0.1}, 0.05, 0, false},
		{"slow, or a loop that goes through a third of the step", 1.5, 0.75, 0.5, portLag{0, 0.1}, 0.05, 0, false},
		{"behind a filter as slow", 1.5, 0.75, 1, portLag{1, 1.4}, 0.05, 1.5, false},
		{"read too seldom", 1.5, 0.75, 1, portLag{0, 0.1}, 0.5, 1.5, false},
	} {
		l := lagCar{c.tau, c.tau, 0, 1, 0, 20, 0, 30}.run()
		l.lo, l.hi = 0.45-c.ends/2, 0.45+c.ends/2
		for i := range l.swings.small { // what its strokes were at other times does not count
			l.swings.small[i].trim *= c.strokes
		}
		if x, n, ok := l.swings.attenuated(0.75); !ok || n != keptSmall || c.lag > 0 && abs(x.lag-c.lag) > 0.15*c.lag {
			t.Errorf("%s: a lag of %.2f s of %d, %v", c.name, x.lag, n, ok)
		}
		if w := l.weigh(eachWay(2), c.interval, 0, c.port); w.slow >= slowLimit != c.slow {
			t.Errorf("%s: weighed %.1f", c.name, w.slow)
		}
	}
	// Of all lengths, they are the mixture's: a lag makes them alike.
	l := lagCar{1.5, 1.5, 0, 1, 0, 20, 0, 30}.run()
	l.lo, l.hi = 0.1, 0.9
	alike := l.weigh(eachWay(2), 0.05, 0, portLag{0, 0.1}).slow
	for i := range l.swings.small {
		l.swings.small[i].took *= []float64{0.3, 3, 0.5, 2}[i%4]
	}
	if w := l.weigh(eachWay(2), 0.05, 0, portLag{0, 0.1}); alike < slowLimit || w.slow >= slowLimit {
		t.Errorf("alike they weigh %.1f, of all lengths %.1f", alike, w.slow)
	}
	k, l := newTrack(), &lagging{}
	for i := range 600 { // it lies rich and moves there, as the mixture does: no loop cycles by that
		p := recent.Reading{Lo: float64(i) * 0.1, Hi: float64(i) * 0.1, V: math.Round((0.6+0.1*math.Sin(float64(i)/4))/0.005) * 0.005}
		l.addVolts(p, true, &k)
	}
	if _, n, ok := l.swings.attenuated(0.75); ok {
		t.Errorf("%d swings on one side count", n)
	}
	if _, _, ok := (lagCar{0.1, 0.06, 0, 1, 0, 20, 0, 30}).run().swings.attenuated(0.75); ok {
		t.Error("a sound sensor's swings are small")
	}
}

// The edges of a wire that was held before that was known are no swings of the sensor.
func TestSwingsOfAHold(t *testing.T) {
	l := lagCar{1.5, 1.5, 0, 5, 0, 20, 0, 60}.run()
	own, n := l.swings.typical(0)
	for i, v := range []float64{0.05, 0.05, 0.85, 0.85, 0.05} { // let go, and held again
		l.swings.addVolts(recent.Reading{Lo: 60 + float64(i)*0.1, Hi: 60 + float64(i)*0.1, V: v}, 0, 0)
	}
	if _, more := l.swings.typical(0); more <= n {
		t.Fatalf("%d swings, then %d", n, more)
	}
	l.swings.heldSince(59.9)
	if kept, m := l.swings.typical(0); m != n || kept != own {
		t.Errorf("%d swings are left of %d, %+v of %+v", m, n, kept, own)
	}
}

// By hand: swings of 0.12 V, 1.2 s each way, on a sensor that goes from 0.1 to 0.9 V, while trim goes 3 % to and fro in 1.2 s: a lag of
// 1.2 / (2 artanh(0.12 / (0.8 (3 - 0.8)/4))) = 2.0 s. Where it turns five times in each, the sensor was hardly read, and
// where it stands, or goes on for longer than any sensor takes, it is the mixture that strolls.
func TestSmallSwingsGoWithTrim(t *testing.T) {
	for _, c := range []struct {
		name  string
		trim  float64 // % from turn to turn
		turns float64 // in each swing
		half  float64 // s, each way
		lag   float64 // s; 0: none is told
	}{
		{"trim turns when the sensor has crossed", 3, 1, 1.2, 2.0},
		{"it turns five times as often", 3, 5, 1.2, 0},
		{"it stands", 0, 1, 1.2, 0},
		{"it takes longer than any sensor", 3, 1, 5, 0},
	} {
		k, l := newTrack(), &lagging{lo: 0.1, hi: 0.9}
		saw := func(at, half float64) float64 { return 2*math.Abs(math.Mod(at/half, 2)-1) - 1 }
		for i := range 6000 {
			at := float64(i) * 0.02
			p := recent.Reading{Lo: at, Hi: at, V: math.Round((0.45+0.06*saw(at, c.half))/0.005) * 0.005}
			l.addVolts(p, true, &k)
			l.addTrim(recent.Reading{Lo: at, Hi: at, V: math.Round(c.trim/2*saw(at+c.half/2/c.turns, c.half/c.turns)*1.28) / 1.28}, false)
		}
		w := l.weigh(eachWay(c.trim*c.turns/c.half), 0.02, 0, portLag{0, 0.1})
		if abs(w.size.lag-c.lag) > 0.15*c.lag || (w.slow >= slowLimit) != (c.lag > 1) {
			t.Errorf("%s: a lag of %.2f s of %d, weighed %.1f", c.name, w.size.lag, w.size.swings, w.slow)
		}
	}
}

// Small swings tell a slow sensor only where the mixture follows trim; what a guide asks to be held may be, unseen, and is not the sensor's own.
func TestWhoseSwings(t *testing.T) {
	for _, c := range []struct {
		w         lagWeight
		delivered bool
		want      bool
	}{
		{lagWeight{slow: 9}, false, true},
		{lagWeight{slow: 9, size: lagSize{9, 2}}, false, false},
		{lagWeight{slow: 9, size: lagSize{9, 2}}, true, true},
		{lagWeight{slow: 5}, true, false},
	} {
		if got := c.w.tells(c.delivered); got != c.want {
			t.Errorf("%+v, delivered %v: %v", c.w, c.delivered, got)
		}
	}
	swings := func(says ...string) int {
		_, w := playSession(t, Config{}, false, append([]string{"FUELSYS1 0s..40s/2s 2", "O2S11 " + cycling(0, 40), "SHRTFT1 " + hunting(0, 40)}, says...)...)
		return w.lag.swings.n[0]
	}
	if all, some := swings(), swings("says 10s asked for lean; 30s asked for none"); all < 18 || some > all*2/3 {
		t.Errorf("%d swings, %d of them where nothing was asked for", all, some)
	}
}

// The longer the lag is, the more speaks for it, and nothing does where the wire was held all the time.
func TestLagGrows(t *testing.T) {
	last := -1.0
	for _, tau := range []float64{0.1, 0.3, 0.6, 1, 1.5, 2.2} {
		w := lagCar{tau, tau, 0, 5, 0, 10, 0, 60}.run().weigh(eachWay(0), 0.1, 0, portLag{})
		if w.slow < last {
			t.Errorf("%.1f s: %.1f, and %.1f for less", tau, w.slow, last)
		}
		last = w.slow
	}
	var held lagging
	k := newTrack()
	for i := range 1000 {
		v := 0.1 + 0.7*float64(i/10%2)
		held.addVolts(recent.Reading{Lo: float64(i) * 0.1, Hi: float64(i) * 0.1, V: v}, false, &k)
	}
	if w := held.weigh(eachWay(3), 0.1, 0, portLag{}); w != (lagWeight{}) {
		t.Errorf("a wire that was held has swung by itself: %+v", w)
	}
}

// By hand: from 0.1 to 0.5 V towards 0.9 in 0.693 s is a lag of 1 s, and 2 % of trim in half a second is 0.41 s for each, since a count of them may be rounding.
func ExampleWatcher_lag() {
	var s swings
	for _, p := range []recent.Reading{{V: 0.8}, {Lo: 1, Hi: 1, V: 0.1}, {Lo: 1.6931, Hi: 1.6931, V: 0.5}, {Lo: 3, Hi: 3, V: 0.7}, {Lo: 4, Hi: 4, V: 0.1}} {
		p.Lo, p.Hi = p.Lo+1, p.Hi+1
		s.addVolts(p, 0, 0)
	}
	lag, n := s.typical(0)
	fmt.Printf("%d swing, %.2f s\n", n, lag.lag)
	var g strokes
	for _, p := range []recent.Reading{{V: 1}, {Lo: 0.5, Hi: 0.5, V: -1}, {Lo: 1, Hi: 1, V: 1}, {Lo: 1.5, Hi: 1.5, V: -1}} {
		g.addTrim(p)
	}
	perCent, _, _, _ := g.typical()
	fmt.Printf("%.2f s for 1 %%\n", perCent)
	// Output:
	// 1 swing, 1.00 s
	// 0.41 s for 1 %
}

// How slowly the port tells is read off the edge at which the watched wire was held, and off nothing else.
func TestPortLag(t *testing.T) {
	for _, c := range []struct {
		name  string
		bank  int
		level float64 // V
		by    By
		goes  float64 // V: where the reading goes from 0.8 V, and that it goes on swinging to
		back  float64
		known bool
	}{
		{"an edge", 1, 0.05, ByWire, 0.05, 0.05, true},
		{"the other bank's wire was held", 2, 0.05, ByWire, 0.05, 0.05, false},
		{"the reading never came to the level", 1, 0.45, ByWire, 0.05, 0.9, false},
		{"the mixture was forced", 1, 0.05, ByMixture, 0.05, 0.05, false},
	} {
		f := good(Lean)
		f.bank, f.level = c.bank, c.level
		a := judged(c.by, f)
		for i := range 220 {
			at, v := 9+0.05*float64(i), 0.8
			if at > 10.06 {
				v = []float64{c.goes, c.back}[i%2]
			}
			a.w.volts.volts.Add(recent.Reading{Lo: at, Hi: at, V: v})
		}
		if got := a.portLag(); (got != unknownPort) != c.known || got.lo < 0 || got.hi < got.lo {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
