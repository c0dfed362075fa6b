package unseenwide

import (
	"bytes"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pushback/obd"
)

// quiet is a sound car by the seed with nothing in it that comes and goes.
func quiet(seed uint64) carSpec {
	s, _ := drawCar(roll(seed, 1))
	s.loop.open, s.loop.silent, s.loop.learn, s.loop.rest, s.loop.rear = 0, false, 0, 0, 0
	s.goal.base, s.goal.dither, s.goal.sway = 1, 0, 0
	s.air.unrest, s.air.load, s.meter.drift, s.purge.duty = 0, 0, 0, 0
	s.meter.density = false
	for k := range s.bank {
		b := &s.bank[k]
		b.scatter, b.one, b.obeys = 0, 1, true
		b.cell = cellSpec{slope: 1, tau: [2]float64{0.08, 0.08}, ceiling: 1.99}
	}
	return s
}

// At rest λ is what is wanted, and propane or air is answered by what the mass balance asks: fuel times 1 − p, or 1 + p.
func TestBalance(t *testing.T) {
	for seed := range uint64(40) {
		for side, p := range []float64{0.08, -0.05} {
			s := quiet(seed)
			f := feed{side: side, begin: 40, end: 90, up: 1, down: 1, size: math.Abs(p), unsteadS: 5}
			r := drive(s, []leg{{}}, []feed{f}, 88, seed)
			before, after := r.at(39), r.at(87)
			for _, x := range []*told{before, after} {
				if math.Abs(float64(x.phi[0])-1) > 0.004 {
					t.Errorf("seed %d: φ %.4f at rest", seed, x.phi[0])
				}
			}
			want := 1 - p*s.air.idleAir()/float64(after.air) // a hose lets the governor close the throttle, so less is metered
			if got := (1 + trimOf(&s, after)) / (1 + trimOf(&s, before)); math.Abs(got-want) > 0.015 && math.Abs(float64(after.short[0])) < s.loop.limit-count {
				t.Errorf("seed %d: %.3f of the fuel, want %.3f", seed, got, want)
			}
		}
	}
}

func trimOf(s *carSpec, x *told) float64 {
	c := computer{loop: s.loop, bank: []control{{short: float64(x.short[0])}}}
	return c.trim(0) - 1
}

// A step of commanded fuel comes round by the ring's gain (sound 1, not delivered 0), after the gas's way and the lags.
func TestStep(t *testing.T) {
	const dt, air, rpm = 0.01, 3.0, 750.0
	for _, c := range []struct {
		name       string
		slope, tau float64
		obeys      bool
		gain       float64
	}{{"sound", 1, 0.08, true, 1}, {"skewed down", 0.5, 0.08, true, 0.5}, {"skewed up", 1.5, 0.08, true, 1.5}, {"not delivered", 1, 0.08, false, 0}, {"slow", 1, 1.2, true, 1}} {
		s := bankSpec{film: 0, filmTau: 1, flow: 1, one: 1, obeys: c.obeys, cycles: 1.2, gas: 0.6, mixing: 0.05, store: 1, rearLag: 1, cell: cellSpec{slope: c.slope, tau: [2]float64{c.tau, c.tau}, ceiling: 1.99}}
		b := newBank(s, 4, dt, air/stoich)
		fuel := 0.0
		play := func(trim, seconds float64) (first, mid float64) {
			from := b.shown
			for i := range int(seconds / dt) {
				fuel = b.injected(air/stoich, trim, 1)
				b.burn(dt, fuel, 0, air, rpm, [3]float64{})
				if first == 0 && math.Abs(b.shown-from) > 1e-6 {
					first = float64(i) * dt
				}
				if mid == 0 && math.Abs(b.shown-from) > 0.04*c.gain*(1-math.Exp(-1)) {
					mid = float64(i) * dt
				}
			}
			return first, mid
		}
		play(0.98, 20)
		low := b.shown
		first, mid := play(1.02, 20)
		if got := (b.shown - low) / 0.04; math.Abs(got-c.gain) > 0.06 {
			t.Errorf("%s: gain %.3f, want %.2f", c.name, got, c.gain)
		}
		if c.obeys && math.Abs(s.cell.gain()-c.gain) > 0.06*c.gain {
			t.Errorf("%s: gain told %.3f, want %.2f", c.name, s.cell.gain(), c.gain)
		}
		delay := 1.2*120/rpm + 0.6/air
		if c.obeys && (math.Abs(first-delay) > 0.021 || math.Abs(mid-delay-c.tau-0.05) > 0.03*(1+c.tau)) {
			t.Errorf("%s: first after %.2f s, two thirds after %.2f, want %.2f and %.2f", c.name, first, mid, delay, delay+c.tau+0.05)
		}
	}
}

// Fuel on the wall is neither made nor lost, and a closed catalyst takes 0.2315 of the air's lack as oxygen, the share of its mass (U.S. Standard Atmosphere 1976).
func TestMass(t *testing.T) {
	b := newBank(bankSpec{film: 0.3, filmTau: 0.5, flow: 1, one: 1, obeys: true, cycles: 1, mixing: 0.05, store: 1, rearLag: 1, cell: cellSpec{slope: 1, ceiling: 1.99}}, 4, step, 0.2)
	in, out, wall := 0.0, 0.0, b.wall
	for i := range 2000 {
		fuel := 0.2 + 0.05*math.Sin(float64(i)/90)
		in += fuel * step
		b.burn(step, fuel, 0, 2.94, 800, [3]float64{})
		out += b.phi * 2.94 / stoich * step
	}
	if math.Abs(in-out-(b.wall-wall)) > 1e-9 {
		t.Errorf("%.6f g went in, %.6f came out, %.6f more lie on the wall", in, out, b.wall-wall)
	}
	for range 500 {
		b.burn(step, 0.2, 0, 2.94, 800, [3]float64{})
	}
	b.full = 0.5
	for range 300 {
		b.burn(step, 0.18, 0, 2.94, 800, [3]float64{})
	}
	if got, want := b.full-0.5, 0.2315*2.94*0.1*(3-0.15-0.05-0.15); math.Abs(got-want) > 0.005 { // less the way of the gas, and the lags of mixing and film
		t.Errorf("%.3f g of oxygen, want about %.3f", got, want)
	}
}

// The table is the maker's in both directions.
func TestPump(t *testing.T) {
	for _, c := range [][2]float64{{0.65, -2}, {0.80, -0.927}, {0.90, -0.405}, {0.97, -0.106}, {1.003, 0}, {1.18, 0.329}, {1.70, 0.938}} {
		if got, back := current(1/c[0]), 1/measured(c[1]); math.Abs(got-c[1]) > 1e-9 || math.Abs(back-c[0]) > 1e-9 {
			t.Errorf("λ %v: %v mA, want %v; back %v", c[0], got, c[1], back)
		}
	}
	for phi := 0.02; phi < 1.5; phi += 0.01 {
		if back := measured(current(phi)); math.Abs(back-phi) > 1e-9 {
			t.Errorf("φ %.2f comes back as %.4f", phi, back)
		}
	}
}

// Counts worked out by hand from the scales of SAE J1979.
func TestCounts(t *testing.T) {
	p, s := portSpec{wide: 0x34}, quiet(0)
	x := told{rpm: 1156.75, air: 3, ect: 17, kPa: 35, wanted: 1.10001, purge: 0.251, status: 2, speed: 10}
	x.phi[0], x.short[0], x.long[0], x.rear[0] = float32(1/1.003), -0.25, 0.0625, 0.455
	for pid, want := range map[byte][]byte{0x0C: {0x12, 0x13}, 0x10: {0x01, 0x2C}, 0x05: {0x39}, 0x44: {0x8C, 0xCD}, 0x06: {0x60}, 0x07: {0x88}, 0x15: {0x5B, 0xFF}, 0x2E: {0x40}, 0x34: {0x80, 0x62, 0x80, 0x00}, 0x0D: {36}} {
		if got := p.data(pid, &x, &s); !bytes.Equal(got, want) {
			t.Errorf("PID %02X: % X, want % X", pid, got, want)
		}
	}
	p.wide, x.phi[0] = 0x24, float32(1/1.10001)
	if got := p.data(0x24, &x, &s); got[0] != 0x8C || got[1] != 0xCD {
		t.Errorf("PID 24: % X", got)
	}
}

// A seed is a seed; and a twin is the same car until somebody forces it.
func TestAgain(t *testing.T) {
	for seed := range uint64(6) {
		one, list := Wide(seed)
		two, again := Wide(seed)
		if !reflect.DeepEqual(one, two) || !reflect.DeepEqual(list, again) {
			t.Errorf("seed %d differs from itself", seed)
		}
		s, _ := drawCar(roll(seed, 1))
		a := drive(s, []leg{{}}, nil, 30, seed)
		b := drive(s, []leg{{}}, []feed{{begin: 20, end: 28, up: 1, down: 1, size: 0.1, unsteadS: 1}}, 30, seed)
		if !reflect.DeepEqual(a.list[:20*50], b.list[:20*50]) || reflect.DeepEqual(a.list, b.list) {
			t.Errorf("seed %d: the twin is another car", seed)
		}
	}
}

// Of 300 seeds: every fault, at least half of them sound, every way of working.
func TestFaults(t *testing.T) {
	seen, habits := map[string]int{}, map[string]int{}
	for seed := range uint64(300) {
		_, f := drawCar(roll(seed, 1))
		s := drawSession(roll(seed, 2), seed%2 == 0)
		seen[f.name]++
		if f.both && f.name != sound {
			habits["both banks"]++
		}
		for _, h := range []string{"mixture", "fuelcut", "early", "late", "wrong", "left out", "no release", "propane", "hose", "both", "road"} {
			if strings.Contains(s.by+s.style, h) {
				habits[h]++
			}
		}
	}
	for _, k := range faults {
		if seen[k.name] == 0 {
			t.Errorf("no car with %q", k.name)
		}
	}
	if seen[sound] < 150 || len(habits) != 12 {
		t.Errorf("%v, %v", seen, habits)
	}
}

// Records and truths are such as can be.
func TestDraws(t *testing.T) {
	for seed := range uint64(60) {
		x, r, list := test(seed)
		if len(x.Accepted) == 0 || x.Marks && seed%2 == 1 || x.Rate < 0.8 || x.Rate > 40 {
			t.Errorf("seed %d: %+v", seed, x)
		}
		for _, c := range x.Undecided {
			if slices.Contains(x.Accepted, c) {
				t.Errorf("seed %d: %s is right and left open", seed, c)
			}
		}
		for i, f := range x.Forces {
			if f.End <= f.Begin || f.Told < f.Commanded || i > 0 && f.Begin < x.Forces[i-1].End || f.Commanded > f.End-f.Begin {
				t.Errorf("seed %d: %+v", seed, f)
			}
		}
		valid(t, seed, list, x.Marks)
		for _, m := range r.run.list {
			if m.rpm < 450 || m.rpm > 4000 || m.kPa < 12 || m.kPa > 101 || m.phi[0] < 0.49 || m.phi[0] > 1.6 {
				t.Fatalf("seed %d: %+v", seed, m)
			}
		}
	}
}

func valid(t *testing.T, seed uint64, list []obd.Record, marked bool) {
	t.Helper()
	marks, end := 0, at(0)
	for i, r := range list {
		if r.Seq != int64(i) || i > 0 && r.At < list[i-1].At {
			t.Fatalf("seed %d: record %d is %+v", seed, i, r)
		}
		if r.Mark != nil {
			marks++
			continue
		}
		x := r.Exchange
		if r.Sent < end || r.At <= r.Sent || len(x.Replies) != 1 || x.Replies[0].Data[0] != 0x41 || x.Replies[0].Data[1] != x.Request.Data[0] {
			t.Fatalf("seed %d: record %d is %+v", seed, i, x)
		}
		end = r.At
	}
	if (marks > 0) != marked {
		t.Errorf("seed %d: %d marks", seed, marks)
	}
}

// An hour on the road is closed loop mostly, with cuts in which λ goes to the sensor's ceiling and the status to 04.
func TestDrive(t *testing.T) {
	for seed := range uint64(2) {
		x, list := Drive(seed)
		valid(t, seed, list, false)
		if x.Hours != 1 || len(x.Forces) != 0 || !slices.Equal(x.Accepted, []string{nothing}) {
			t.Errorf("seed %d: %+v", seed, x)
		}
		r := drive(quiet(seed), drawRoad(roll(seed, 5)), nil, 3600, seed)
		closed := 0
		for _, m := range r.list {
			if m.status == 2 {
				closed++
			}
		}
		if share := float64(closed) / float64(len(r.list)); share < 0.6 || share > 0.99 || len(r.cut) < 5 {
			t.Errorf("seed %d: closed %.2f of the time, %d cuts", seed, share, len(r.cut))
		}
		for _, c := range r.cut {
			if m := r.at(c[1] - 0.05); c[1]-c[0] > 4 && (m.status != 4 || 1/m.phi[0] < 1.95) {
				t.Errorf("seed %d: λ %.2f and status %d in a cut of %.1f s", seed, 1/m.phi[0], m.status, c[1]-c[0])
			}
		}
	}
}
