package wide

import (
	"math"
	"math/rand/v2"
	"testing"

	"pushback/analysis"
	"pushback/analysis/recent"
)

// A target that sways by 2.5 % and is not read makes no gain: a sound ring is told from a half-blind one, where without it
// the loop's swing is taken for its answer.
func TestSwayIsNoGain(t *testing.T) {
	without, with := 0.0, 0.0
	for seed := range uint64(6) {
		p := sound()
		p.dither, p.kp = 0.025, 0.25
		p.feed = []feed{{0.08, 20.3, 1, 34, 0.5}}
		if seed%2 == 1 {
			p.gain = 0.5
		}
		tr, near := p.read(50, 6, seed, false), Shape{21.2, 1, 34.5, 1}
		e, ok := Fit(tr, near, true)
		tr.Sways = false
		o, also := Fit(tr, near, true)
		if !ok || !also {
			t.Fatal("not fitted")
		}
		t.Logf("gain %.2f, told %.2f with a sway, %.2f without", p.gain, e.G, o.G)
		with, without = with+math.Abs(e.G-p.gain), without+math.Abs(o.G-p.gain)
	}
	if with > 6*0.15 || with > without/2 {
		t.Errorf("off by %.2f in the mean; without a sway %.2f", with/6, without/6)
	}
}

// What is known of gains before keeps a sway that is not looked for from making one of 2 to 10, with a disturbance as large against it; where
// the readings tell the gain, a half is told as without.
func TestGainIsKnownBefore(t *testing.T) {
	usual := gainWide
	defer func() { gainWide = usual }()
	fit := func(tr Trace, wide float64) float64 {
		gainWide = wide
		e, ok := Fit(tr, Shape{21.2, 1, 34.5, 1}, true)
		if !ok {
			t.Fatal("not fitted")
		}
		return e.G
	}
	with, without := 0.0, 0.0
	for seed := range uint64(4) {
		p := sound()
		p.dither, p.kp, p.ki = 0.03, 0.3, 0.5
		p.feed = []feed{{0.06, 20.3, 2.5, 34, 1.5}}
		tr := p.read(50, 6, seed, false)
		tr.Sways = false
		with, without = with+math.Abs(fit(tr, usual)-1), without+math.Abs(fit(tr, 1e3)-1)
		p = sound()
		p.gain = 0.5
		p.feed = []feed{{0.08, 20.3, 1, 34, 0.5}}
		tr = p.trace(50, 6, seed)
		if a, b := fit(tr, usual), fit(tr, 1e3); math.Abs(a-b) > 0.03 || math.Abs(a-0.5) > 0.1 {
			t.Errorf("a half is told as %.2f, without as %.2f", a, b)
		}
	}
	if with > 4*0.5 || with > without/3 {
		t.Errorf("off by %.2f in the mean; without by %.2f", with/4, without/4)
	}
}

// A period is found where there is one, a tenth of a second beside it at most, and none is found in noise.
func TestSeek(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, period := range []float64{0, 1.3, 2.2, 4.5} {
		var tr Trace
		for at := 0.0; at < 45; at += 0.1 + 0.1*rng.Float64() {
			y := 0.004 * rng.NormFloat64()
			if period > 0 {
				y += math.Copysign(0.01, math.Sin(2*math.Pi*at/period))
			}
			tr.YT, tr.Y, tr.UT, tr.U = append(tr.YT, at), append(tr.Y, y), append(tr.UT, at), append(tr.U, 0)
		}
		tr.Sways = true
		f := newFitter(tr, Shape{20, 1, 32, 1}, Adds, Straight)
		f.seek(f.first(true))
		if math.Abs(f.period-period) > 0.1 {
			t.Errorf("a period of %.1f s is found as %.2f", period, f.period)
		}
	}
}

// What a side has shown is hidden where the target sways by 2.5 % each way: it is told by what is left of the readings without that.
func TestSaidBehindASway(t *testing.T) {
	for _, c := range []struct {
		name       string
		fed        float64
		rich, lean bool
	}{{"8 % of gas: rich, and lean when it is shut off", 0.08, true, true}, {"1 % is within what it does by itself", 0.01, false, false}} {
		p := sound()
		p.dither, p.kp = 0.025, 0.25
		p.feed = []feed{{c.fed, 20.3, 1, 34, 0.5}}
		e, ok := Fit(p.read(50, 6, 4, false), Shape{21.2, 1, 34.5, 1}, true)
		f := force{side: analysis.Rich, sign: 1, before: before{noise: 0.025}, fits: fits{fit: e, fitted: ok}}
		for _, rich := range []bool{true, false} {
			want := c.lean
			if rich {
				want = c.rich
			}
			at, has := f.said(rich)
			if has != want || has && (rich && (at < 20.3 || at > 24) || !rich && (at < 34 || at > 38)) {
				t.Errorf("%s: rich %v is said: %v at %.1f s", c.name, rich, has, at)
			}
		}
		if f.plain() != c.rich {
			t.Errorf("%s: plain: %v", c.name, f.plain())
		}
	}
}

// Where the commanded ratio is read twice in its period and more it is known, and no sway is sought beside it; where it tells none, or
// is not read, one is.
func TestSwayThatIsRead(t *testing.T) {
	for _, c := range []struct {
		each   float64 // s, of the commanded ratio
		hidden bool    // and it does not tell of the sway
		want   bool
	}{{0.2, false, false}, {3.1, false, true}, {0.2, true, true}, {1e9, true, true}} {
		w := New(analysis.Config{By: analysis.ByMixture})
		p := sound()
		p.dither = 0.025
		p.feed = []feed{{0.08, 20.3, 1, 34, 0.5}}
		next, command := 0.0, 0.0
		p.run(50, 4, func(s state) {
			r := recent.Reading{Lo: s.t, Hi: s.t}
			if s.t >= command {
				command = s.t + c.each
				r.V = s.command
				if c.hidden {
					r.V = 1
				}
				w.command.Add(r)
			}
			if s.t >= next {
				next = s.t + 0.17
				r.V = s.lambda
				w.own.lambda.Add(r)
				r.V = math.Round(s.trim*128) / 1.28
				w.own.trim.Add(r)
			}
		})
		if e, ok := w.fit(&w.own, 2, 49, Shape{21.2, 1, 34.5, 1}, true); !ok || e.Period > 0 != c.want {
			t.Errorf("read each %.1f s, hidden %v: a period of %.2f s", c.each, c.hidden, e.Period)
		}
	}
}
