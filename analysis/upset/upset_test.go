package upset

import (
	"math"
	"math/rand/v2"
	"testing"
)

// plant is a loop of the textbook kind: an integrator that jumps as the sensor turns, on a mixture that its trim reaches so much later.
type plant struct {
	rng      *rand.Rand
	ramp     float64 // % a second
	jump     float64 // %
	delay    int     // tenths of a second
	gain     float64 // of trim
	noise    float64 // %, from one tenth to the next
	feed     func(t float64) float64
	own      func(t float64) float64 // what the computer adds to trim by itself
	past     []float64
	integral float64
	side     float64
}

// run gives the watch what the loop does for so many seconds, ten times a second.
func (p *plant) run(w *Watch, seconds float64, each func(now float64)) {
	wander := 0.0
	for i := 0; i < int(seconds*10); i++ {
		t := float64(i) / 10
		u := p.integral + p.side*p.jump
		if p.own != nil {
			u += p.own(t)
		}
		p.past = append(p.past, u)
		wander += -wander*0.1/3 + 0.15*p.rng.NormFloat64()
		x := wander + p.noise*p.rng.NormFloat64()
		if i >= p.delay {
			x += p.gain * p.past[i-p.delay]
		}
		if p.feed != nil {
			x += p.feed(t)
		}
		v := 0.45 + 0.4*math.Tanh(x/0.5)
		p.side = -1 // rich: take away
		if v < 0.45 {
			p.side = 1
		}
		p.integral += p.side * p.ramp / 10
		w.Trim(t, u)
		if w.Volts(t, v) {
			w.Look(false, always)
			if each != nil {
				each(t)
			}
		}
	}
	w.Look(true, always)
}

func always(float64) bool { return true }

func loopOf(seed uint64) *plant {
	r := rand.New(rand.NewPCG(seed, 7))
	return &plant{rng: r, ramp: 0.5 * math.Pow(6, r.Float64()), jump: r.Float64(), delay: 3 + r.IntN(8), gain: 1, noise: 0.2 + 0.6*r.Float64()}
}

// likeliest is the change for which there is most evidence, of those that stand out.
func likeliest(w *Watch) (best Suspect, found bool) {
	for _, c := range w.Suspects {
		if c.Hand > 9 && (!found || c.Evidence(1./25, 1./300, 0) > best.Evidence(1./25, 1./300, 0)) {
			best, found = c, true
		}
	}
	return best, found
}

func box(size, from, to float64) func(float64) float64 {
	return func(t float64) float64 {
		if t >= from && t < to {
			return size
		}
		return 0
	}
}

// TestChangeIsFound: a mixture that is moved for 12 s and let go is found with its side, its times and about its size.
func TestChangeIsFound(t *testing.T) {
	found := 0
	for seed := range uint64(40) {
		p := loopOf(seed)
		side, size := Rich, 9.0
		if seed%2 == 1 {
			side, size = Lean, -9
		}
		p.feed = box(size, 60, 72)
		var w Watch
		p.run(&w, 110, nil)
		c, ok := likeliest(&w)
		if !ok || c.Evidence(1./25, 1./300, 0) < 3 {
			continue
		}
		found++
		if c.Side != side || math.Abs(c.Begin-60) > 2.5 || math.Abs(c.End-72) > 3.5 || c.Size < 4 {
			t.Errorf("loop %d: found side %d, %.1f to %.1f s, %.1f %%", seed, c.Side, c.Begin, c.End, c.Size)
		}
	}
	if found < 30 {
		t.Errorf("%d of 40 found", found)
	}
}

// TestLeftAlone: what a loop does by itself is no change, nor is what its computer does to trim: that trim explains the reading.
func TestLeftAlone(t *testing.T) {
	for name, own := range map[string]func(float64) float64{"nothing": nil, "a step of trim that goes back": box(5, 60, 72)} {
		seen := 0
		for seed := range uint64(40) {
			p := loopOf(100 + seed)
			p.own = own
			var w Watch
			p.run(&w, 200, nil)
			if c, ok := likeliest(&w); ok && c.Evidence(1./25, 1./300, 0) > 2.3 {
				seen++
			}
		}
		if seen > 1 {
			t.Errorf("%s: %d of 40 loops with a change", name, seen)
		}
	}
}

// TestReaches: while the mixture is held on a side, only trim that reaches it lets the sensor cycle again; where trim does not, the hand that
// let go did.
func TestReaches(t *testing.T) {
	right, wrong := map[float64]int{}, map[float64]int{}
	for gain := range 2 {
		for seed := range uint64(10) {
			p := loopOf(300 + seed)
			p.ramp, p.gain = 2, float64(gain)
			p.feed = box(-9, 60, 72)
			if gain == 0 {
				p.noise = 1
			}
			var w Watch
			p.run(&w, 110, nil)
			c, ok := likeliest(&w)
			if !ok {
				continue
			}
			if x := w.Reaches(&c); (x > 6.9) == (gain == 1) {
				right[p.gain]++
			} else {
				wrong[p.gain]++
			}
		}
	}
	if right[1] < 8 || right[0] < 5 || wrong[0] > 0 {
		t.Errorf("of 10 loops each, by gain: %v right, %v wrong", right, wrong)
	}
	var w Watch
	if x := w.Reaches(&Suspect{}); !math.IsInf(x, -1) {
		t.Errorf("nothing that is kept: %v", x)
	}
}

// TestAgain: a change like those that the car made before, and as often as people do, is no evidence; one of the other side or of another kind is.
func TestAgain(t *testing.T) {
	before := Change{Side: Rich, Size: 5, Begin: 100, End: 112}
	for _, x := range []struct {
		c    Change
		like float64
	}{
		{Change{Side: Rich, Size: 5, Begin: 300, End: 312}, 1},
		{Change{Side: Rich, Size: 6.5, Begin: 300, End: 318}, 1},
		{Change{Side: Rich, Size: 16, Begin: 300, End: 330}, 0.5},
		{Change{Side: Lean, Size: 5, Begin: 300, End: 312}, 0},
		{Change{Side: Rich}, 0},
	} {
		if got := x.c.Like(&before); got < x.like/2 || got > x.like*2 {
			t.Errorf("%+v: %.2f, want about %v", x.c, got, x.like)
		}
		x.c.Hand, x.c.Own = 30, 27
		if e, alone := x.c.Evidence(1./25, 1./300, x.like/25), x.c.Evidence(1./25, 1./300, 0); x.like > 0 && e >= alone || x.like >= 1 && e > 0 {
			t.Errorf("%+v: evidence of %.2f, alone %.2f", x.c, e, alone)
		}
	}
}

// TestSlowFlanks: what comes and goes in 8 s each speaks less for a hand than what does so at once.
func TestSlowFlanks(t *testing.T) {
	less := 0
	for seed := range uint64(20) {
		evidence := func(flank float64) float64 {
			p := loopOf(200 + seed)
			p.ramp = 2
			p.feed = func(t float64) float64 { return 9 * max(0, min(1, (t-60)/flank, (80-t)/flank)) }
			var w Watch
			p.run(&w, 120, nil)
			best := math.Inf(-1)
			for _, c := range w.Suspects {
				if c.Hand > 9 {
					best = max(best, c.Hand-c.Own)
				}
			}
			return best
		}
		if evidence(8) < evidence(0.2) {
			less++
		}
	}
	if less < 17 {
		t.Errorf("less for a hand in %d of 20", less)
	}
}

// TestFitAgainstR: the probit's estimates lie where maximum likelihood has them. R 4.2, MASS::polr(method = "probit") of such data
// (n = 4000) has balance 1.98, sigma 1.49 and half a band of 0.62 %; 2, 1.5 and 0.6 made them. The grid is coarse.
func TestFitAgainstR(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	s := make([]Slot, 4000)
	for i := range s {
		s[i].Trim = 2 + 2.5*r.NormFloat64()
		if i >= 2 {
			switch x := s[i-2].Trim - 2 + 1.5*r.NormFloat64(); {
			case x > 0.6:
				s[i].State = Rich
			case x < -0.6:
				s[i].State = Lean
			}
		}
	}
	best := fit(s)
	top := best.each[0]
	for _, l := range best.each {
		if l.fit > top.fit {
			top = l
		}
	}
	if top.lag != 2 || top.gain != 1 || math.Abs(top.balance-2) > 0.3 || top.sigma != 1.3 || math.Abs(top.mid*top.sigma-0.6) > 0.1 {
		t.Errorf("fitted %+v", top)
	}
	if best.weight < 0.6 {
		t.Errorf("independent slots weigh %.2f", best.weight)
	}
}

// TestUndelivered: trim that wanders and does not reach the mixture is told from one that does.
func TestUndelivered(t *testing.T) {
	p := loopOf(3)
	p.gain, p.ramp = 0, 1
	var w Watch
	p.run(&w, 60, nil)
	l := fit(w.slots)
	for i := range undelivered {
		if l.each[i].fit > l.each[undelivered].fit {
			t.Errorf("likelier: %+v", l.each[i])
		}
	}
}

func TestLaws(t *testing.T) {
	for x := -7.9; x < 7.9; x += 0.05 {
		if want := 0.5 * math.Erfc(-x/math.Sqrt2); math.Abs(phi(x)-want) > 0.011 {
			t.Errorf("Φ(%.2f) = %.4f, want %.4f", x, phi(x), want)
		}
		l := loop{sigma: 1.3, mid: 0.9}
		if sum := l.p(Lean, x) + l.p(Between, x) + l.p(Rich, x); math.Abs(sum-1) > 1e-9 {
			t.Errorf("states of %.2f add up to %.6f", x, sum)
		}
	}
	sum := 0.0
	for x := 0.005; x < 200; x += 0.01 {
		sum += 0.01 * bell(x, usualSize, sizeSpread)
	}
	if math.Abs(sum-1) > 1e-3 {
		t.Errorf("sizes add up to %.4f", sum)
	}
	if x := add(math.Log(2), math.Log(3)); math.Abs(x-math.Log(5)) > 1e-12 || !math.IsInf(add(math.Inf(-1), math.Inf(-1)), -1) {
		t.Errorf("ln(2 + 3) = %v", x)
	}
}

func TestSpecialCases(t *testing.T) {
	var w Watch
	if c := w.Going(Rich, 10); w.Look(true, always) || c.Real() {
		t.Error("something of nothing")
	}
	p := loopOf(1)
	p.run(&w, 60, nil)
	w.Volts(5000, 0.4) // a gap
	if len(w.slots) != 0 || len(w.Suspects) != 0 {
		t.Errorf("%d slots and %d changes over a gap", len(w.slots), len(w.Suspects))
	}
	var blind Watch // no trim is read
	for i := range 3000 {
		blind.Volts(float64(i)/10, 0.1+0.7*float64(i/20%2))
	}
	blind.Look(true, always)
	if c, ok := likeliest(&blind); ok {
		t.Errorf("a change %+v of a sensor that switches", c.Change)
	}
	if len(w.slots) > 2*keep || len(w.Suspects) > MaxSuspects {
		t.Error("memory grows")
	}
}

// BenchmarkWatch is what a reading with its trim costs, of a loop that hunts and is looked at now and then.
func BenchmarkWatch(b *testing.B) {
	p := loopOf(2)
	b.ReportAllocs()
	var w Watch
	p.past = make([]float64, 0, b.N)
	p.run(&w, float64(b.N)/10, nil)
}
