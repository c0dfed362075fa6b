package heldout

import (
	"math"
	"slices"
	"testing"
)

// quiet is a car of which nothing moves by itself, with a quick sensor and one delay.
func quiet(delay float64, g law) *car {
	c := drawCar(newDice(1, 0), 0.001)
	c.banks = c.banks[:1]
	c.oneLoop = false
	c.purging.strength = 0
	c.shared.sd = 0
	b := c.banks[0]
	b.own.sd, b.rough.sd, b.base, b.long = 0, 0, 1, 0
	b.path = path{revs: 0, litres: delay / 0.39 * 3}
	b.path.fill(1)
	b.front = cell{stuck: -1, scale: 1}
	b.front.heat(900)
	b.input = input{bias: 0.45, ohm: 1e6, top: 1.275}
	b.law, b.habits = g, habits{}
	c.driver = still{}
	c.rpm, c.air, c.hotAir = 800, 3, 3
	return c
}

type still struct{}

func (still) step(*engine, float64, float64) {}

// cycle is the mean period and the half height of trim in the last part of a run.
func cycle(c *car, seconds float64) (period, height float64) {
	b := c.banks[0]
	c.run(c.t+seconds/2, nil)
	was, n, lo, hi := b.rich, 0, b.short, b.short
	var first, last float64
	c.run(c.t+seconds, func() {
		lo, hi = min(lo, b.short), max(hi, b.short)
		if b.rich && !was {
			if n == 0 {
				first = c.t
			}
			last = c.t
			n++
		}
		was = b.rich
	})
	return (last - first) / float64(n-1), (hi - lo) / 2
}

// A relay at the sensor with dead time τ, ramp r and jump P, worked out: P = 0 gives a period of 4τ and
// ±r·τ; below r·τ 4τ-2P/r; from r·τ on 2τ and P + r·τ from peak to peak (worked out). The period is
// proportional to the delay (Ribbens).
func TestLimitCycle(t *testing.T) {
	for _, tc := range []struct{ delay, ramp, jump float64 }{{0.2, 2, 0}, {0.4, 2, 0}, {0.4, 2, 0.4}, {0.3, 1, 3}, {0.15, 4, 0}} {
		c := quiet(tc.delay, law{tick: 0.001, ramp: tc.ramp, jump: tc.jump, hi: 25, lo: -25, threshold: 0.45, filter: 1e-4})
		period, height := cycle(c, 60*tc.delay)
		want, high := 4*tc.delay-2*tc.jump/tc.ramp, tc.ramp*tc.delay
		if tc.jump >= tc.ramp*tc.delay {
			want, high = 2*tc.delay, (tc.jump+tc.ramp*tc.delay)/2
		}
		if math.Abs(period-want) > 0.06*want || math.Abs(height-high) > 0.1*high {
			t.Errorf("delay %v s, ramp %v, jump %v: period %.3f s, ±%.3f %%; want %.3f, ±%.3f", tc.delay, tc.ramp, tc.jump, period, height, want, high)
		}
	}
}

// 3 to 10 revolutions altogether; 0.2 to 1 s at idle, less at 2500 rpm.
func TestDelay(t *testing.T) {
	for seed := range uint64(200) {
		c := drawCar(newDice(seed, 1), 0.01)
		b := c.banks[0]
		air := c.hotAir / float64(len(c.banks))
		idle, fast := b.path.delay(c.hotIdle, air), b.path.delay(2500, 4*air)
		if revs := idle * c.hotIdle / 60; revs < 2 || revs > 10 || idle > 1 || fast > 0.5*idle {
			t.Errorf("seed %d: %.2f s at idle (%.1f revolutions), %.2f s at 2500 rpm", seed, idle, revs, fast)
		}
	}
}

// Sound cars at rest switch with periods between a third of a second (published: 3 Hz) and ten seconds (a real car: 4.6 to
// 6 s of one), and the mean mixture is right within some per cent.
func TestRestOfSoundCars(t *testing.T) {
	var periods []float64
	for seed := range uint64(60) {
		c := drawCar(newDice(seed, 1), 0.01)
		c.driver = newIdling(newDice(seed, 5), &c.engine)
		c.banks[0].pauses = 0
		c.t = -burn
		c.run(0, nil)
		turns, phi, n, was := 0, 0.0, 0.0, false
		c.run(60, func() {
			b := c.banks[0]
			if v := b.volts > 0.45; v != was {
				turns++
				was = v
			}
			phi += b.phi
			n++
		})
		periods = append(periods, 120/float64(max(turns, 1)))
		if b := c.banks[0]; math.Abs(phi/n-1) > 0.03 && b.short > b.lo+1 && b.short < b.hi-1 {
			t.Errorf("seed %d: the mean mixture is φ %.3f %+v", seed, phi/n, b.loop)
		}
	}
	slices.Sort(periods)
	if a, m, z := periods[5], periods[30], periods[54]; a < 0.25 || a > 1.5 || m < 0.6 || m > 4 || z < 1.5 || z > 12 {
		t.Errorf("periods: 10 %% %.2f s, middle %.2f, 90 %% %.2f", a, m, z)
	}
}

// +25 and +15 are 43.75 (they multiply).
func TestTrimsMultiply(t *testing.T) {
	c := quiet(0.3, law{fixed: true, hi: 25, lo: -25, threshold: 0.45})
	b := c.banks[0]
	b.short, b.long = 25, 15
	if got := c.fuel(b); math.Abs(got-1.4375) > 1e-9 {
		t.Errorf("+25 and +15 give φ %.4f", got)
	}
}

// Oxygen of 0.3, 1 and 2 g at 2.5 g/s of air and +25 % of fuel lasts 2, 7 and 14 s (0.2315·air·trim).
func TestCatalyst(t *testing.T) {
	for _, c := range []struct{ grams, want float64 }{{0.3, 2}, {1, 7}, {2, 14}} {
		k := catalyst{grams: c.grams, full: 1, sharp: 40}
		at := 0.0
		for k.step(1.25, 2.5, 0.01) < 1.1 {
			at += 0.01
		}
		if math.Abs(at-c.want) > 0.15*c.want+0.1 {
			t.Errorf("%v g: through after %.1f s, want %v", c.grams, at, c.want)
		}
	}
}

// Unmetered air and an exhaust leak ask for most trim at idle, and for half of it and less at 2500 rpm (trade articles:
// +10 to +25 % at idle that falls towards 0).
func TestLeaksFadeWithFlow(t *testing.T) {
	for _, spoil := range []func(b *bank){func(b *bank) { b.idleLeak = 0.12 }, func(b *bank) { b.thinned = 0.12 }} {
		trim := func(rpm, air float64) float64 {
			c := quiet(0.3, law{tick: 0.02, ramp: 2, jump: 0.5, hi: 25, lo: -25, threshold: 0.45, filter: 0.01})
			c.dt = 0.01
			spoil(c.banks[0])
			c.rpm, c.air = rpm, air
			c.run(40, nil)
			sum, n := 0.0, 0.0
			c.run(60, func() { sum += c.banks[0].short; n++ })
			return sum / n
		}
		if idle, fast := trim(800, 3), trim(2500, 9); math.Abs(idle-12) > 1 || math.Abs(fast-4) > 1 {
			t.Errorf("trim %.1f %% at idle, %.1f at 2500 rpm; want 12 and 4", idle, fast)
		}
	}
}

// Crossed sensors drive the banks apart until a limit stops them: each loop corrects the other's mixture.
func TestCrossedBanksRunAway(t *testing.T) {
	n, far := 0, 0
	for seed := range uint64(80) {
		c := drawCar(newDice(seed, 1), 0.01)
		if len(c.banks) < 2 || c.banks[0].quits != staysOn || c.banks[0].pauses > 0 {
			continue
		}
		c.oneLoop = false
		c.spoil(newDice(seed, 2), crossed)
		c.driver = newIdling(newDice(seed, 5), &c.engine)
		c.t = 0
		c.run(120, nil)
		n++
		a, b := c.banks[0], c.banks[1]
		if math.Abs(a.phi-b.phi) > 0.1 {
			far++
		}
	}
	if n < 10 || far < n*8/10 {
		t.Errorf("of %d cars with crossed sensors the mixtures of %d are far apart", n, far)
	}
}
