package heldout

import (
	"math"
	"slices"
	"testing"

	"pushback/cmd/internal/accuracy/truth"
)

// plainWide is a car of which nothing moves by itself, with a sound sensor.
func plainWide() *car {
	c := drawWide(1)
	c.banks = c.banks[:1]
	c.purging.strength, c.shared.sd = 0, 0
	b := c.banks[0]
	b.own.sd, b.rough.sd, b.base, b.long = 0, 0, 1, 0
	b.path = path{revs: 3, litres: 0.8}
	b.path.fill(1)
	b.law, b.habits = law{tick: 0.05, hi: 25, lo: -25}, habits{}
	b.wide.aim = aim{kp: 0.1, ki: 0.4, shown: true, cutShown: 1}
	b.wide.broad = broad{gain: 1, ceiling: 1.99, y: 1, tau: [2]float64{0.08, 0.08}}
	b.wide.sense(1, c.dt)
	c.driver = still{}
	c.rpm, c.air, c.hotAir, c.hotIdle = 800, 3, 3, 800
	return c
}

// A maker's table of pump current: -0.40 mA at λ 0.90, 0 at 1.003, +0.33 at 1.18.
func TestPumped(t *testing.T) {
	for _, c := range []struct{ lambda, want float64 }{{0.8, -0.927}, {0.90, -0.405}, {1.003, 0}, {1.18, 0.329}, {1.7, 0.938}, {1.09, 0.161}} {
		if got := pumped(c.lambda); math.Abs(got-c.want) > 0.005 {
			t.Errorf("λ %v: %.3f mA, want %v", c.lambda, got, c.want)
		}
	}
}

// Propane of p makes trim settle at -p, for it passes no injector, whatever the sensor's gain (the loop makes it
// read right); λ has left by nearly p before trim has answered, times the gain.
func TestPropane(t *testing.T) {
	for _, gain := range []float64{0.5, 1, 1.6} {
		c := plainWide()
		b := c.banks[0]
		b.wide.gain = gain
		b.wide.ki = 0.4 / gain
		c.run(c.t+10, nil)
		hands := technician{holds: []hold{{side: "rich", begin: c.t, end: c.t + 60, moves: 0.06, onset: 0.1, emptying: 0.1}}}
		c.forced = hands.force
		most := 0.0
		c.run(c.t+40, func() { most = max(most, 1/b.volts-1) })
		if math.Abs(b.short+6) > 0.2 || math.Abs(b.volts-1) > 0.002 || most < 0.75*gain*0.06 || most > 1.01*gain*0.06 {
			t.Errorf("gain %v: trim %.2f %%, λ %.3f, at most φ %.3f beyond", gain, b.short, b.volts, most)
		}
	}
}

// A sensor's lag, each way: 63 % of a step after own delay and lag.
func TestBroadLag(t *testing.T) {
	s := broad{gain: 1, ceiling: 2, y: 1, tau: [2]float64{0.1, 0.8}, own: [2]float64{0, 0.3}}
	reach := func(phi, level float64) float64 {
		for i := range 4000 {
			v := 1 / s.step(phi, 0.005)
			if (phi > 1) == (v >= level) {
				return float64(i+1) * 0.005
			}
		}
		return math.Inf(1)
	}
	for range 400 {
		s.step(0.95, 0.005)
	}
	if got := reach(1.05, 0.95+0.1*0.632); math.Abs(got-0.1) > 0.015 {
		t.Errorf("towards rich 63 %% after %.3f s, want 0.10", got)
	}
	for range 400 {
		s.step(1.05, 0.005)
	}
	if got := reach(0.95, 1.05-0.1*0.632); math.Abs(got-1.1) > 0.03 {
		t.Errorf("towards lean 63 %% after %.3f s, want 1.1", got)
	}
}

// In a fuel cut λ goes to the ceiling that this car tells, and comes back.
func TestCut(t *testing.T) {
	c := plainWide()
	d := newLifting(newDice(3, 1), &c.engine)
	d.lifts = [][2]float64{{20, 25}}
	c.driver = d
	c.t = 0
	c.run(24.9, nil)
	if b := c.banks[0]; b.volts != 1.99 || b.status != statusLoad || b.short != 0 {
		t.Errorf("in the cut λ %.2f, status %d, trim %.1f", b.volts, b.status, b.short)
	}
	c.run(40, nil)
	if b := c.banks[0]; math.Abs(b.volts-1) > 0.03 || b.status != statusClosed {
		t.Errorf("15 s later λ %.3f, status %d", b.volts, b.status)
	}
}

// A sound wide-range car at rest keeps λ near what is commanded, and its loop does not swing up.
func TestWideRest(t *testing.T) {
	var spreads []float64
	for seed := range uint64(60) {
		c := drawWide(seed)
		c.driver = newIdling(newDice(seed, 24), &c.engine)
		c.t = -burn
		c.run(0, nil)
		var list []float64
		c.run(30, func() { list = append(list, 1/c.banks[0].volts) })
		mean, sd := 0.0, 0.0
		for _, x := range list {
			mean += x / float64(len(list))
		}
		for _, x := range list {
			sd += (x - mean) * (x - mean) / float64(len(list))
		}
		spreads = append(spreads, math.Sqrt(sd))
		if math.Abs(mean-1) > 0.03 {
			t.Errorf("seed %d: mean φ %.3f", seed, mean)
		}
	}
	slices.Sort(spreads)
	// Real cars: sd in quiet 20 s 0.005/0.007 to 0.014/0.010 to 0.024 at 10, 50 and 90 % (recordings of three cars).
	if spreads[6] > 0.012 || spreads[30] < 0.005 || spreads[30] > 0.02 || spreads[54] > 0.04 {
		t.Errorf("sd of λ: %.4f, %.4f, %.4f at 10, 50, 90 %%", spreads[6], spreads[30], spreads[54])
	}
}

func TestWideTruth(t *testing.T) {
	fine, seen, all, cut := 0, 0, 0, 0
	for seed := range uint64(140) {
		test, records := Wide(seed)
		all++
		if len(test.Accepted) == 0 || slices.ContainsFunc(test.Undecided, func(c string) bool { return slices.Contains(test.Accepted, c) }) {
			t.Errorf("seed %d: accepted %v, undecided %v", seed, test.Accepted, test.Undecided)
		}
		if test.By == "fuelcut" {
			cut++
		}
		if test.Fault == sound || test.Fault == leak {
			fine++
			for _, c := range []string{"no_delivery", "sensor_dead", "sensor_skewed", "no_command", "input_dead"} {
				if test.Outcome(c) != truth.Wrong {
					t.Errorf("seed %d: %s of a sound car is %s", seed, c, test.Outcome(c))
				}
			}
		}
		if test.Rate < 1.5 || test.Rate > 11 {
			t.Errorf("seed %d: %.2f readings/s", seed, test.Rate)
		}
		for _, f := range test.Forces {
			if f.Told < f.Commanded || f.Told > f.End-f.Begin {
				t.Errorf("seed %d: force %+v", seed, f)
			}
			if f.Faint || test.Fault == open {
				continue
			}
			// To a plain look: the farthest reading within 5 s lies on the force's side by 1 % or more.
			before, during := values(records, "EQ_RAT11", 0x34, f.Begin-5, f.Begin), values(records, "EQ_RAT11", 0x34, f.Begin, f.Begin+5)
			if len(before) < 3 || len(during) < 3 {
				t.Errorf("seed %d: %d and %d readings about a force that is not faint", seed, len(before), len(during))
				continue
			}
			slices.Sort(before)
			middle := before[len(before)/2]
			if f.Side == "rich" && middle-slices.Min(during) > 0.01 || f.Side == "lean" && slices.Max(during)-middle > 0.01 {
				seen++
			} else {
				t.Logf("seed %d: a force does not show: %+v", seed, f)
			}
		}
	}
	if fine < all*40/100 || cut < all/10 || seen < 50 {
		t.Errorf("of %d: %d sound, %d fuel cuts, %d forces show", all, fine, cut, seen)
	}
}

// Tests laid out by hand: five readings a second, marks, 6 % of propane and a hose.
func TestWideTable(t *testing.T) {
	proper := []hold{{side: "rich", begin: 20, end: 35, moves: 0.06, onset: 0.3, emptying: 0.3}, {side: "lean", begin: 70, end: 85, moves: -0.05, onset: 0.2, emptying: 0.2}}
	for _, c := range []struct {
		fault string
		holds []hold
		said  string
		want  truth.Outcome
	}{
		{sound, proper, "loop_proven", truth.Right},
		{sound, proper, "unclear", truth.Undecided},
		{sound, proper, "sensor_skewed", truth.Wrong},
		{sound, proper[:1], "partly_proven", truth.Right},
		{sound, proper[:1], "loop_proven", truth.Right},
		{gain, proper, "sensor_skewed", truth.Right},
		{gain, proper, "loop_proven", truth.Wrong},
		{open, proper, "unclear", truth.Right},
		{open, proper, "loop_proven", truth.Wrong},
		{undelivery, proper, "no_delivery", truth.Right},
		{undelivery, proper, "loop_proven", truth.Wrong},
		{silent, proper, "no_command", truth.Right},
		{silent, proper, "loop_proven", truth.Wrong},
		{cold, proper, "not_ready", truth.Right},
	} {
		build := func() *car {
			k := plainWide()
			k.spoilWide(newDice(1, 23), c.fault)
			if c.fault == gain {
				k.banks[0].wide.gain = 0.5
			}
			k.t = -burn
			return k
		}
		hands := &technician{dice: newDice(1, 4), holds: c.holds, said: true, ends: c.holds[len(c.holds)-1].end + 30}
		p := &port{dice: newDice(1, 3), gap: 0.2, rows: true, fast: [][]string{{"lambda", "trim"}}, slow: []string{"rpm", "status", "rear"}, every: 1}
		p.voltsEach, p.trimsEach, p.step = 0.02, 0.02, 100.0/128
		test := tryWide(1, build(), build(), p, hands, c.fault, "mixture", true)
		if got := test.Outcome(c.said); got != c.want {
			t.Errorf("%s: %s is %s, want %s (accepted %v, forces %+v)", c.fault, c.said, got, c.want, test.Accepted, test.Forces)
		}
	}
}

func BenchmarkWide(b *testing.B) {
	for i := range b.N {
		Wide(uint64(i % 200))
	}
}

func BenchmarkWideDrive(b *testing.B) {
	for i := range b.N {
		WideDrive(uint64(i % 20))
	}
}
