package wide

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pushback/analysis/scripttest"
)

// lagged integrates dx/dt = (in(t) − x)/τ in small steps by the rule of the midpoint, from x = in(0): a first-order lag worked out
// without its exponentials.
func lagged(in func(float64) float64, tau, until float64) float64 {
	steps := int(until * 40 / min(tau, 1))
	dt, x := until/float64(max(steps, 1)), in(0)
	for i := range steps {
		t := float64(i) * dt
		half := x + dt/2*(in(t)-x)/tau
		x += dt * (in(t+dt/2) - half) / tau
	}
	return x
}

// A ramp through a first-order lag. By the textbook's step response one lag shows 63.2 %, three show 95.0 %; after a ramp as long as
// the lag it is 1/e, since t − τ + τ·exp(−t/τ) is τ/e at t = τ.
func TestRisen(t *testing.T) {
	for _, c := range []struct {
		name         string
		x, over, tau float64
		want, off    float64
	}{
		{"not begun", -1, 1, 0.5, 0, 0},
		{"begins", 0, 1, 0.5, 0, 0},
		{"a step, one lag on", 0.5, 1e-6, 0.5, 0.632, 5e-4},
		{"a step, three lags on", 1.5, 1e-6, 0.5, 0.950, 5e-4},
		{"at the end of a ramp of one lag", 0.5, 0.5, 0.5, 1 / math.E, 1e-9},
		{"no lag to speak of, half way", 0.5, 1, 1e-4, 0.5, 2e-4},
		{"long after", 1000, 1, 0.5, 1, 0},
	} {
		if got := risen(c.x, c.over, c.tau); math.Abs(got-c.want) > c.off {
			t.Errorf("%s: %.5f, want %.5f", c.name, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		over, tau := rapid.Float64Range(leastRamp, mostRamp).Draw(t, "over"), rapid.Float64Range(leastTau, mostTau).Draw(t, "tau")
		x := rapid.Float64Range(0.01, 12).Draw(t, "x")
		got := risen(x, over, tau)
		if want := lagged(func(t float64) float64 { return min(t/over, 1) }, tau, x); math.Abs(got-want) > 2e-3 {
			t.Fatalf("%g s into a ramp of %g s, lag %g s: %g, integrated %g", x, over, tau, got, want)
		}
		if later := risen(x+0.1, over, tau); later < got || got < 0 || later > 1 || risen(x, over, 1.2*tau) > got+1e-12 {
			t.Fatalf("%g s: %g, and later %g; with more lag %g", x, got, later, risen(x, over, 1.2*tau))
		}
	})
}

// scripted is a trace whose ratio and trim are told by scripts, in fractions.
func scripted(t *testing.T, y, u string) (tr Trace) {
	t.Helper()
	for _, p := range scripttest.Points(t, y) {
		tr.YT, tr.Y = append(tr.YT, p.At), append(tr.Y, p.Value)
	}
	for _, p := range scripttest.Points(t, u) {
		tr.UT, tr.U = append(tr.UT, p.At), append(tr.U, p.Value)
	}
	return tr
}

// Commanded fuel through the lag is what integrating it in small steps gives; before the first command and after the last it stays.
func TestLagOfTheCommand(t *testing.T) {
	tr := scripted(t, "0s..30s/500ms 0", "0s..8s/1s 0; 10s..15s/1s 0->-0.08; 16s..20s/1s 0.02; 22s 0.02")
	command := func(at float64) float64 {
		switch {
		case at <= 10:
			return 0
		case at <= 15:
			return -0.016 * (at - 10)
		case at <= 16:
			return -0.08 + 0.1*(at-15)
		}
		return 0.02
	}
	f := newFitter(tr, Shape{10, 1, 40, 1}, Adds, Straight)
	for _, tau := range []float64{0.05, 0.3, 1.5} {
		f.lag(tau)
		for at := 9.0; at < 25; at += 0.7 {
			i := int(math.Round((at - f.from) / fineStep))
			at := f.from + float64(i)*fineStep
			if got, want := f.lagged[i], lagged(command, tau, at); math.Abs(got-want) > 2e-3 {
				t.Errorf("lag %g s at %.2f s: %.4f, integrated %.4f", tau, at, got, want)
			}
		}
	}
}

// What is told again brings nothing new, unless that has lasted for so long that it must be a reading; where most readings are
// new they all stay.
func TestFresh(t *testing.T) {
	for _, c := range []struct {
		name, y, u string
		ny, nu     int
	}{
		{"each is new", "0s..10s/200ms 0->1", "0s..10s/200ms 0->1", 51, 51},
		{"one in four is new", "0s 0; 0.2s..0.6s/200ms 0; 0.8s..1.4s/200ms 1; 1.6s..2.2s/200ms 2; 2.4s..3s/200ms 3", "0s..3s/200ms 0->1", 4, 16},
		{"it stands: one in 0.7 s is kept", "0s..6s/200ms 1", "0s..0.5s/100ms 0", 8, 6},
		{"trim is taken when the ratio is", "0s..3.8s/200ms 0; 4s..7.8s/200ms 1; 8s..12s/200ms 2", "0s..12s/100ms 0->1", 16, 16}, // one in 0.8 s,
		{"two are new of three", "0s 0; 1s 1; 2s 2; 2.1s 2", "0s..3s/1s 0", 4, 4},
	} {
		tr := scripted(t, c.y, c.u)
		got := tr.fresh()
		if len(got.Y) != c.ny || len(got.U) != c.nu || len(got.YT) != len(got.Y) || len(got.UT) != len(got.U) {
			t.Errorf("%s: %d readings of the ratio at %v, %d of trim; want %d and %d", c.name, len(got.Y), got.YT, len(got.U), c.ny, c.nu)
		}
		for i, at := range got.YT {
			if k := slices.Index(tr.YT, at); k < 0 || tr.Y[k] != got.Y[i] {
				t.Errorf("%s: %g at %g s was never read", c.name, got.Y[i], at)
			}
		}
	}
}

// Gauss's elimination, by hand and turned back: 4x + y = 1, x + 3y = 2 has x = 1/11, y = 7/11 (the textbook example of the method
// of conjugate gradients).
func TestSolve(t *testing.T) {
	var a [rows][rows]float64
	a[0][0], a[0][1], a[1][0], a[1][1] = 4, 1, 1, 3
	if d := solve(&a, [rows]float64{1, 2}, 2); math.Abs(d[0]-1./11) > 1e-12 || math.Abs(d[1]-7./11) > 1e-12 {
		t.Errorf("%v", d)
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, rows).Draw(t, "n")
		var root, a [rows][rows]float64
		var want, b [rows]float64
		for i := range n {
			want[i] = rapid.Float64Range(-10, 10).Draw(t, "x")
			for j := range n {
				root[i][j] = rapid.Float64Range(-3, 3).Draw(t, "root")
			}
		}
		for i := range n {
			for j := range n {
				for k := range n {
					a[i][j] += root[i][k] * root[j][k]
				}
			}
			a[i][i]++ // positive
		}
		for i := range n {
			for j := range n {
				b[i] += a[i][j] * want[j]
			}
		}
		got := solve(&a, b, n)
		for i := range n {
			if math.Abs(got[i]-want[i]) > 1e-8 {
				t.Fatalf("%v, want %v", got[:n], want[:n])
			}
		}
	})
}

// An interval's end is found to within a thirtieth of the last step, wherever it lies and to either side; where there is none within
// reach it is the farthest point.
func TestBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, end := rapid.Float64Range(-5, 5).Draw(t, "x"), rapid.Float64Range(0, 8).Draw(t, "end")
		sign := float64(2*rapid.IntRange(0, 1).Draw(t, "up") - 1)
		step, to := 0.05*sign, x+sign*5
		got := bound(x, step, to, func(v float64) float64 { return sign*(v-x) - end })
		if sign*(got-x) < 0 || sign*(got-to) > 1e-12 {
			t.Fatalf("%g is not from %g to %g", got, x, to)
		}
		if want := x + sign*min(end, 5); math.Abs(got-want) > max(0.05, end)/30 {
			t.Fatalf("from %g towards %g: %g, want %g", x, to, got, want)
		}
	})
}

// A point is moved into its bounds and no further.
func TestClip(t *testing.T) {
	f := &fitter{near: Shape{20, 1, 35, 1}}
	rapid.Check(t, func(t *rapid.T) {
		var v [params]float64
		for i := range v {
			v[i] = rapid.Float64Range(-60, 60).Draw(t, "v")
		}
		got := f.clip(v)
		x := point{v: got}
		s := x.shape()
		if s.Begin < 15 || s.Begin > 23 || s.End < s.Begin+1 || s.End < 30 || s.End > 38 || s.On < leastRamp-1e-9 || s.On > mostRamp+1e-9 ||
			s.Off < leastRamp-1e-9 || s.Off > mostRamp+1e-9 || got[atDelay] < leastDelay || got[atDelay] > mostDelay ||
			math.Exp(got[atTau]) < leastTau-1e-9 || math.Exp(got[atTau]) > mostTau+1e-9 {
			t.Fatalf("%v is moved to %v", v, got)
		}
		if again := f.clip(got); again != got {
			t.Fatalf("%v, moved once more to %v", got, again)
		}
	})
}

// ofModel is a trace of the model itself, without noise but for what is given: p·S + g·u + c, u a trim that goes against it slowly.
func ofModel(p, g, c, delay, tau float64, s Shape, noise float64, law Law, seed uint64) (tr Trace) {
	rng := rand.New(rand.NewPCG(seed, 5))
	trim := func(t float64) float64 { return -p * (risen(t-s.Begin-1, 3, 2) - risen(t-s.End-1, 3, 2)) }
	for i := range 250 {
		t := float64(i) * 0.2
		tr.UT, tr.U = append(tr.UT, t), append(tr.U, trim(t))
		u := lagged(func(x float64) float64 { return trim(t - 10*tau + x - delay) }, tau, 10*tau) // what was before has faded
		fed := p * (risen(t-s.Begin, s.On, tau) - risen(t-s.End, s.Off, tau))
		y := fed + g*u + c
		if law == Multiplies {
			y = math.Expm1(math.Log1p(fed) + g*math.Log1p(u) + c)
		}
		tr.YT, tr.Y = append(tr.YT, t), append(tr.Y, y+noise*rng.NormFloat64())
	}
	return tr
}

// The linear part of a trace that the model makes is what made it, at the point that made it; of trim that stands still it cannot
// tell the gain, and says what was known before.
func TestLinearPart(t *testing.T) {
	s := Shape{15, 0.6, 32, 0.9}
	at := func(f *fitter) point {
		return f.at([params]float64{s.Begin, math.Log(s.On), s.End, math.Log(s.Off), 0.4, math.Log(0.3)})
	}
	for _, c := range []struct{ p, g, c float64 }{{0.07, 1, 0}, {0.07, 0.5, 0.002}, {-0.1, 1, -0.003}, {0.07, 0, 0.001}, {0.05, 1.3, 0}} {
		f := newFitter(ofModel(c.p, c.g, c.c, 0.4, 0.3, s, 0, Adds, 1), s, Adds, Straight)
		for _, hue := range []Hue{{0.2, 0.3}, {0.95, 10}} { // whatever the noise is thought to be
			f.tint(hue)
			if x := at(f); math.Abs(x.p-c.p) > 1e-3 || math.Abs(x.g-c.g) > 0.01 || math.Abs(x.c-c.c) > 5e-4 {
				t.Errorf("p %g, g %g, c %g by %v: %.4f, %.3f, %.4f", c.p, c.g, c.c, hue, x.p, x.g, x.c)
			}
		}
		f.fixed, f.fixedG = true, 0.8
		if x := at(f); x.g != 0.8 {
			t.Errorf("held at 0.8 the gain is %g", x.g)
		}
	}
	still := ofModel(0.07, 0, 0, 0.4, 0.3, s, 0, Adds, 1)
	for i := range still.U {
		still.U[i] = 0.03
	}
	f := newFitter(still, s, Adds, Straight)
	f.tint(Hue{0.5, 1})
	if x := at(f); math.Abs(x.g-1) > 1e-6 {
		t.Errorf("trim stood: gain %g of %g", x.g, x.p)
	}
}

// The filter makes of readings what the whole matrix of their covariances does: the squares of what it leaves are yᵀΣ⁻¹y, and the
// logarithms that it adds up are ln det Σ, both here by Cholesky's root of the matrix (linear algebra; the form of the noise is that
// of an Ornstein-Uhlenbeck process beside white noise).
func TestWhiteningIsTheMatrix(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for _, h := range []Hue{{0.2, 0.3}, {0.8, 1}, {0.99, 30}} {
		var tr Trace
		at := 0.0
		for range 40 {
			at += 0.1 + rng.ExpFloat64()*0.3
			tr.YT, tr.Y = append(tr.YT, at), append(tr.Y, 0.01*rng.NormFloat64())
			tr.UT, tr.U = append(tr.UT, at), append(tr.U, 0)
		}
		f := newFitter(tr, Shape{at / 2, 1, at + 5, 1}, Adds, Straight)
		f.tint(h)
		n := len(f.y)
		root, z, logs, squares := make([][]float64, n), make([]float64, n), 0.0, 0.0
		for i := range n {
			root[i] = make([]float64, n)
			for j := range i + 1 {
				v := h.Share * math.Exp(-math.Abs(f.t[i]-f.t[j])/h.Fade)
				if i == j {
					v = 1
				}
				for k := range j {
					v -= root[i][k] * root[j][k]
				}
				if i == j {
					root[i][i] = math.Sqrt(v)
				} else {
					root[i][j] = v / root[j][j]
				}
			}
			z[i] = f.y[i]
			for k := range i {
				z[i] -= root[i][k] * z[k]
			}
			z[i] /= root[i][i]
			logs += 2 * math.Log(root[i][i])
			squares += z[i] * z[i]
		}
		got := 0.0
		for _, v := range f.yw {
			got += v * v
		}
		if math.Abs(got-squares) > 1e-9*squares || math.Abs(f.logs-logs) > 1e-8 {
			t.Errorf("%v: squares %.9g, by the matrix %.9g; logarithms %.6f, by the matrix %.6f", h, got, squares, f.logs, logs)
		}
	}
}

// The noise that is likeliest is of the kind that made it: white noise has hardly a share that fades, slow noise little else, and
// the time in which it fades is told by its order.
func TestBestHue(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	made := func(h Hue) *fitter {
		var tr Trace
		slow := math.Sqrt(h.Share) * rng.NormFloat64()
		for i := range 300 {
			a := math.Exp(-0.2 / h.Fade)
			slow = a*slow + math.Sqrt(h.Share*(1-a*a))*rng.NormFloat64()
			at := float64(i) * 0.2
			tr.YT, tr.Y = append(tr.YT, at), append(tr.Y, 0.003*(slow+math.Sqrt(1-h.Share)*rng.NormFloat64()))
			tr.UT, tr.U = append(tr.UT, at), append(tr.U, 0)
		}
		f := newFitter(tr, Shape{20, 1, 80, 1}, Adds, Straight)
		f.tint(Hue{0.5, 1})
		return f
	}
	v := [params]float64{20, 0, 80, 0, 0.4, math.Log(0.1)}
	for _, c := range []struct {
		made   Hue
		lo, hi Hue
	}{
		{Hue{0.02, 0.3}, Hue{0, 0}, Hue{0.5, 30}},
		{Hue{0.95, 1}, Hue{0.8, 0.3}, Hue{0.99, 3}},
		{Hue{0.95, 10}, Hue{0.8, 3}, Hue{0.99, 30}},
	} {
		f := made(c.made)
		x := f.at(v)
		before := f.hue
		if got := f.bestHue(&x); got.Share < c.lo.Share || got.Share > c.hi.Share || got.Fade < c.lo.Fade || got.Fade > c.hi.Fade {
			t.Errorf("made by %v: %v", c.made, got)
		}
		if f.hue != before {
			t.Errorf("looking for it has set it to %v", f.hue)
		}
	}
}

// A flow of gas adds to the fuel and a flow of air multiplies with it; told by a disturbance that is large beside the noise, and the
// gain is right under either. A fifth of the fuel is what a torch brings at idle (0.3 L/min are 5.7 % at 2.5 g/s, see measure).
func TestFitTellsTheLaw(t *testing.T) {
	s := Shape{15, 0.6, 32, 0.9}
	for _, law := range []Law{Adds, Multiplies} {
		for _, p := range []float64{0.2, -0.2} {
			e, ok := Fit(ofModel(p, 1, 0, 0.4, 0.12, s, 5e-4, law, 3), Shape{15.5, 0.6, 31.5, 0.6}, true)
			if !ok || e.Law != law || math.Abs(e.G-1) > 0.05 || math.Abs(e.P-p) > 0.01 {
				t.Errorf("multiplies %v, %g fed: multiplies %v, %.3f, gain %.2f", law, p, e.Law, e.P, e.G)
			}
			if math.Abs(e.Begin-s.Begin) > 0.15 || math.Abs(e.End-s.End) > 0.2 || math.Abs(e.Delay-0.4) > 0.1 || math.Abs(e.Tau-0.12) > 0.06 {
				t.Errorf("multiplies %v, %g fed: from %.2f to %.2f s, delay %.2f, lag %.2f", law, p, e.Begin, e.End, e.Delay, e.Tau)
			}
		}
	}
}

// When it was does not matter, and neither does the side: what is added is fitted as what is taken away. Less noise is told as less.
func TestFitMovesWithItsData(t *testing.T) {
	s := Shape{15, 0.6, 32, 0.9}
	near := Shape{15.4, 0.6, 32.4, 0.6}
	tr := ofModel(0.07, 0.8, 0.001, 0.4, 0.12, s, 2e-3, Adds, 6)
	e := fit(newFitter(tr, near, Adds, Straight), false)
	turned, later := Trace{YT: tr.YT, UT: tr.UT}, Trace{Y: tr.Y, U: tr.U}
	for i := range tr.Y {
		turned.Y, turned.U = append(turned.Y, -tr.Y[i]), append(turned.U, -tr.U[i])
		later.YT, later.UT = append(later.YT, tr.YT[i]+5000), append(later.UT, tr.UT[i]+5000)
	}
	same := func(what string, got Estimate, sign, shift float64) {
		t.Helper()
		for _, v := range []struct {
			name      string
			got, want float64
			within    float64
		}{{"gain", got.G, e.G, 0.01}, {"least gain", got.GLow, e.GLow, 0.02}, {"most gain", got.GHigh, e.GHigh, 0.02}, {"delay", got.Delay, e.Delay, 0.01},
			{"lag", got.Tau, e.Tau, 0.01}, {"fed", got.P, sign * e.P, 1e-3}, {"rest", got.C, sign * e.C, 1e-4}, {"noise", got.Noise, e.Noise, 1e-5},
			{"begin", got.Begin, e.Begin + shift, 0.02}, {"end", got.End, e.End + shift, 0.02}} {
			if math.Abs(v.got-v.want) > v.within {
				t.Errorf("%s: %s is %.4f, want %.4f", what, v.name, v.got, v.want)
			}
		}
	}
	same("turned over", fit(newFitter(turned, near, Adds, Straight), false), -1, 0)
	same("later", fit(newFitter(later, Shape{near.Begin + 5000, near.On, near.End + 5000, near.Off}, Adds, Straight), false), 1, 5000)
	if e.GLow > e.G || e.G > e.GHigh || e.DelayLow > e.Delay || e.Delay > e.DelayHigh || e.TauLow > e.Tau || e.Tau > e.TauHigh {
		t.Errorf("an estimate outside of its interval: %+v", e)
	}
	if e.GLow > 0.8 || e.GHigh < 0.8 || math.Abs(e.Noise/2e-3-1) > 0.3 {
		t.Errorf("gain %.2f to %.2f, noise %.4f; made by 0.8 and 0.002", e.GLow, e.GHigh, e.Noise)
	}
	white := func(e Estimate) float64 { return e.Noise * math.Sqrt(1-e.Share) }
	if quiet := fit(newFitter(ofModel(0.07, 0.8, 0.001, 0.4, 0.12, s, 5e-4, Adds, 6), near, Adds, Straight), true); white(quiet) > 0.6*white(e) {
		t.Errorf("with a quarter of the noise what is white of it is %.4f, else %.4f", white(quiet), white(e))
	}
}

// Vapour that comes while a force lasts, here 3 % in 50 s, is not taken for a weaker answer of the sensor: trim takes it away as well.
func TestLineIsNoGain(t *testing.T) {
	s := Shape{15, 0.6, 32, 0.9}
	tr := ofModel(0.07, 1, 0, 0.4, 0.12, s, 1e-3, Adds, 3)
	for i, at := range tr.UT {
		tr.U[i] -= 0.03 * at / 50 // what comes is taken away, and the ratio stays
	}
	if e, ok := Fit(tr, s, false); !ok || e.GLow > 1 || e.GHigh < 1 || math.Abs(e.G-1) > 0.1 {
		t.Errorf("gain %.2f (%.2f to %.2f), made by 1", e.G, e.GLow, e.GHigh)
	}
}

// Lags together: by hand, of 0.5 s (0.25 to 1) alone the mean of the logarithms is 0.5 and the half width ln 2 again; twice that
// is narrower by √2; of two that differ by more than they say the interval is as wide as they differ.
func TestLagging(t *testing.T) {
	lag := func(low, tau, high float64) Estimate { return Estimate{Tau: tau, TauLow: low, TauHigh: high} }
	half := math.Exp(math.Ln2 / math.Sqrt2)
	for _, c := range []struct {
		name           string
		all            []Estimate
		tau, low, high float64
	}{
		{"one", []Estimate{lag(0.25, 0.5, 1)}, 0.5, 0.25, 1},
		{"two that agree", []Estimate{lag(0.25, 0.5, 1), lag(0.25, 0.5, 1)}, 0.5, 0.5 / half, 0.5 * half},
		{"no narrower than a tenth", []Estimate{lag(0.5, 0.5, 0.5)}, 0.5, 0.5 * math.Exp(-0.196), 0.5 * math.Exp(0.196)},
		// ±ln 4 about 0.4 s, each with a deviation of 0.1: the half width is 1.96·ln 4.
		{"two that differ", []Estimate{lag(0.1, 0.1, 0.1), lag(1.6, 1.6, 1.6)}, 0.4, 0.4 * math.Exp(-1.96*math.Log(4)), mostTau},
	} {
		tau, low, high := lagging(c.all)
		if math.Abs(tau-c.tau) > 0.005 || math.Abs(low-c.low) > 0.005 || math.Abs(high-c.high) > 0.005 {
			t.Errorf("%s: %.3f (%.3f to %.3f), want %.3f (%.3f to %.3f)", c.name, tau, low, high, c.tau, c.low, c.high)
		}
	}
}

// Forces together, by hand after DerSimonian and Laird (1986): of gains 0.8 and 1.2, each ± 0.05, the weights are 400, Q is
// 400·(0.04 + 0.04) = 32, and between them lies (32 − 1)/(800 − 320000/800) = 0.0775.
func TestJoined(t *testing.T) {
	est := func(g, sd float64) Estimate { return Estimate{G: g, GLow: g - 1.96*sd, GHigh: g + 1.96*sd} }
	half := func(variance float64) float64 { return 1.96 * math.Sqrt(variance+alike*alike) }
	for _, c := range []struct {
		name    string
		all     []Estimate
		g, half float64
	}{
		{"one", []Estimate{est(0.9, 0.05)}, 0.9, half(0.05*0.05 + apart*apart)},
		{"one that is known to a hair: no better than 0.01", []Estimate{est(0.9, 0)}, 0.9, half(1e-4 + apart*apart)},
		{"two that agree", []Estimate{est(1, 0.1), est(1, 0.1)}, 1, half((0.01 + apart*apart) / 2)},
		{"two that do not", []Estimate{est(0.8, 0.05), est(1.2, 0.05)}, 1, half((0.0025 + 0.0775) / 2)},
	} {
		g, low, high := joined(c.all)
		if math.Abs(g-c.g) > 1e-9 || math.Abs(high-g-c.half) > 1e-6 || math.Abs(g-low-c.half) > 1e-6 {
			t.Errorf("%s: %.5f, %.5f to %.5f; want %.5f ± %.5f", c.name, g, low, high, c.g, c.half)
		}
	}
	if g, low, high := joined(nil); g != 0 || !math.IsInf(low, -1) || !math.IsInf(high, 1) {
		t.Errorf("of none: %g, %g to %g", g, low, high)
	}
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Estimate {
			return est(rapid.Float64Range(0, 1.5).Draw(t, "g"), rapid.Float64Range(0.01, 0.5).Draw(t, "sd"))
		}), 1, 6).Draw(t, "all")
		g, low, high := joined(all)
		least, most := all[0].G, all[0].G
		moved := slices.Clone(all)
		for i, e := range all {
			least, most = min(least, e.G), max(most, e.G)
			moved[i].G, moved[i].GLow, moved[i].GHigh = e.G+0.3, e.GLow+0.3, e.GHigh+0.3
		}
		if g < least-1e-9 || g > most+1e-9 || high-low < 2*1.96*alike {
			t.Fatalf("%v: %g, %g to %g", all, g, low, high)
		}
		slices.Reverse(moved)
		if g2, low2, high2 := joined(moved); math.Abs(g2-g-0.3) > 1e-9 || math.Abs(low2-low-0.3) > 1e-9 || math.Abs(high2-high-0.3) > 1e-9 {
			t.Fatalf("moved by 0.3: %g, %g to %g; before %g, %g to %g", g2, low2, high2, g, low, high)
		}
	})
}
