package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pushback/analysis/recent"
	"pushback/decode"
)

// gamma draws from a gamma law of whole shape k and rate r.
func gamma(rng *rand.Rand, k int, r float64) float64 {
	x := 0.0
	for range k {
		x += rng.ExpFloat64()
	}
	return x / r
}

// within3 reports whether got of n trials fits probability p within three standard deviations.
func within3(got, n int, p float64) bool {
	return math.Abs(float64(got)-p*float64(n)) <= 3*math.Sqrt(float64(n)*p*(1-p))+1
}

// Under its model, the next stay outlasts a time just as often as is said, whether few stays were seen or many.
func TestOutlastsUnderItsModel(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 20000
	for _, shape := range []int{1, 3, 8} {
		for _, seen := range []int{0, 2, 20} {
			longer, sum := 0, 0.0
			for range n {
				rate := gamma(rng, shape, usualStay) // the prior: worth one stay of usualStay
				total := 0.0
				for range seen {
					total += gamma(rng, shape, rate)
				}
				sum += outlasts(3, seen, total, shape)
				if gamma(rng, shape, rate) > 3 {
					longer++
				}
			}
			if !within3(longer, n, sum/n) {
				t.Errorf("shape %d, %d seen: %d of %d last longer, said are %.0f", shape, seen, longer, n, sum)
			}
		}
	}
	if p := outlasts(3, 0, 0, 1); math.Abs(p-1.5/4.5) > 1e-12 { // the law of Lomax, b/(b+x)
		t.Errorf("nothing seen: %g", p)
	}
}

// The stays of real cars that were measured: half of the long ones last 4 s, one in a hundred 24 s.
func TestExcursionLasts(t *testing.T) {
	for _, c := range []struct{ secs, p, off float64 }{{4, 0.5, 1e-9}, {7, 0.2, 0.02}, {24, 0.01, 0.005}} {
		if p := excursionLasts(c.secs); math.Abs(p-c.p) > c.off {
			t.Errorf("%g s: %.3f, want %.3f", c.secs, p, c.p)
		}
	}
}

// The beta-binomial law sums to one, and what was seen in few stays says less.
func TestQuietIsALaw(t *testing.T) {
	sum := 0.0
	for k := range 13 {
		orders, _ := math.Lgamma(13)
		a, _ := math.Lgamma(float64(k + 1))
		b, _ := math.Lgamma(float64(13 - k))
		sum += math.Exp(orders - a - b + quiet(k, 12, 30, 60, 9))
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("the law sums to %g", sum)
	}
	if few, many := quiet(30, 30, 20, 40, 2), quiet(30, 30, 200, 400, 20); !(few > many) {
		t.Errorf("30 alike on end: %.2f by 2 stays, %.2f by 20", few, many)
	}
}

// The levels' laws sum to about one over the side.
func TestLevelsAreLaws(t *testing.T) {
	for _, side := range []Side{Lean, Rich} {
		held, free := 0.0, 0.0
		for v := 0.0; v <= 1.275; v += levelWidth {
			if (side == Lean) != (v < 0.45) {
				continue
			}
			held += heldLevel(side, v)
			end := 0.07
			if side == Rich {
				end = 0.88
			}
			free += freeLevel(side, v, 0, 0, end, true)
		}
		if held < 0.85 || held > 1.2 || free < 0.6 || free > 1.4 {
			t.Errorf("%s: held %.2f, free %.2f", side, held, free)
		}
	}
}

// A likelihood ratio of k to one against the truth comes no more often than once in k (A. Wald, Sequential
// Analysis, 1947): for wires, and for cells whose slope and drift are those of the model.
func TestFollowsUnderItsModels(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const n, odds, err, secs = 20000, 20.0, 0.002, 8.0
	wires, cells, told := 0, 0, 0
	for range n {
		trim := 12 * rng.Float64()
		move := err * rng.NormFloat64()
		if rng.Float64() < 0.15 {
			move += 0.02 * rng.NormFloat64()
		}
		if follows(move, trim, secs, err, false) > math.Log(odds) {
			wires++
		}
		u, slope := rng.Float64()*0.9, 0.0
		for _, c := range cellSlopes {
			if slope = c.slope; u < 0.9*c.p {
				break
			}
			u -= 0.9 * c.p
		}
		if rng.Float64() < 0.05 {
			slope = 0
		}
		move = slope*(trim+drift[rng.IntN(2)]*math.Sqrt(secs)*rng.NormFloat64()) + err*rng.NormFloat64()
		if f := follows(move, trim, secs, err, false); f < -math.Log(odds) {
			cells++
		} else if f > math.Log(odds) {
			told++
		}
	}
	if wires > int(n/odds) || cells > int(n/odds) {
		t.Errorf("of %d, %d wires are taken for cells by %g to one, and %d cells for wires", n, wires, odds, cells)
	}
	if told < n/4 {
		t.Errorf("only %d of %d cells are told", told, n)
	}
}

// What is clipped cannot follow, so that it stands still says little.
func TestFollowsWhereClipped(t *testing.T) {
	if open, clipped := follows(0, 10, 8, 0.002, false), follows(0, 10, 8, 0.002, true); !(open < -2 && clipped > -0.7) {
		t.Errorf("%.2f, clipped %.2f", open, clipped)
	}
}

// An edge without a reading in between speaks for a wire the more, the closer the readings; not where this sensor's
// own crossings look the same.
func TestSharp(t *testing.T) {
	for _, c := range []struct {
		between    int
		gap        float64
		clean, own int
		lo, hi     float64
	}{
		{0, 0.05, 0, 0, -3, -2}, {0, 0.5, 0, 0, -0.3, 0}, {0, 0.05, 30, 30, -0.3, 0}, {2, 0.05, 0, 0, 1, 1.1},
	} {
		if got := sharp(c.between, c.gap, c.clean, c.own); got < c.lo || got > c.hi {
			t.Errorf("%+v: %.2f", c, got)
		}
	}
}

func TestReleaseSpeaks(t *testing.T) {
	for _, c := range []struct {
		name        string
		turned      bool
		moved, back float64
		lo, hi      float64
	}{
		{"turned at once, and trim came back", true, 12, 0.9, 1, 2},
		{"the loop had brought it back", true, 12, 0.05, -2, -1},
		{"trim had not moved", true, 1, 0, 0, 0},
	} {
		if got := releaseSpeaks(c.turned, c.moved, c.back, false); got < c.lo || got > c.hi {
			t.Errorf("%s: %.2f", c.name, got)
		}
	}
}

// By hand: 35 kPa, 1 l, 80 % filled at 750/min are 1.95 g/s; 225 %·s are 0.8 g of oxygen at 1.5 g/s and 3.1 g at 6.
func TestOxygen(t *testing.T) {
	if f := (&air{manifold: 35}).flow(750); math.Abs(f-1.948) > 0.002 {
		t.Errorf("flow %.3f g/s", f)
	}
	for _, c := range []struct{ flow, grams float64 }{{1.5, 0.78}, {6, 3.13}} {
		var d downstream
		for at := 1.0; at <= 16; at++ {
			d.addTrim(at, 15, c.flow)
		}
		if math.Abs(d.oxygen-c.grams) > 0.01 {
			t.Errorf("%.2f g at %g g/s", d.oxygen, c.flow)
		}
	}
}

// A narrow sensor as real cars show it (periods to 6 s, stays to 24 s, 20 mV from reading to reading, trim in steps of 1.6 %,
// against the reading or not), held by nobody: no force.
func TestRealStaysAreNoForce(t *testing.T) {
	hours := 4
	if testing.Short() {
		hours = 1
	}
	volts, short := decode.ByName("O2S11"), decode.ByName("SHRTFT1")
	rpm, status := decode.ByName("RPM"), decode.ByName("FUELSYS1")
	for _, rate := range []float64{1, 2, 10} {
		rng := rand.New(rand.NewPCG(uint64(rate), 5))
		w := NewWatcher(Config{})
		forces := 0
		keep := func(events []Event) {
			for _, e := range events {
				if e.Name == ForceBegins {
					forces++
				}
			}
		}
		give := func(s *decode.Signal, at, v float64) {
			keep(w.Step(decode.Sample{Signal: s, Sent: secs(at), Received: secs(at), Value: v}))
		}
		rich, next, noise, trim := false, 0.0, 0.0, 0.0
		for at := 0.0; at < float64(hours)*3600; at += (0.9 + 0.2*rng.Float64()) / rate {
			if at > next {
				rich = !rich
				stay := 1 + 2.2*gamma(rng, 2, 2)
				if rng.Float64() < 0.02 {
					stay = 4 * math.Pow(1/rng.Float64()-1, 1/2.5)
				}
				next = at + min(stay, 24)
			}
			noise += (0.02*rng.NormFloat64() - noise) * min(1, 3/rate)
			level := 0.087 + 0.7*max(noise, -0.08)
			sign := 1.0
			if rich {
				level, sign = 0.845+noise, -1
			}
			if rng.Float64() < 0.6/rate {
				trim = min(max(trim+1.5625*(sign*(0.3+rng.Float64())-0.1*trim), -15), 15)
			}
			give(volts, at, math.Round(max(level, 0)*200)/200)
			give(short, at, math.Round(trim*1.28)/1.28)
			if rng.Float64() < 0.3/rate {
				give(rpm, at, 760+20*rng.NormFloat64())
				give(status, at, 2)
			}
		}
		if forces > 0 {
			t.Errorf("%g readings/s, %d h: %d forces", rate, hours, forces)
		}
	}
}

// A port that renews its reading each 0.8 s and is read each 20 ms shows edges sharp, whatever makes them.
func TestEdgeOfASlowPort(t *testing.T) {
	w := NewWatcher(Config{})
	at := 0.0
	for _, v := range append(slices.Repeat([]float64{0.75, 0.45, 0.2, 0.22, 0.5, 0.8}, 3), 0.78, 0.2, 0.2, 0.2) {
		for range 40 {
			w.volts.add(recent.Reading{Lo: at, Hi: at, V: v})
			at += 0.02
		}
	}
	s, ok := w.volts.atLevel(&w.volts.run)
	if !ok || s.side != Lean {
		t.Fatalf("no stretch: %+v", s)
	}
	rest := w.restOn(&s)
	if got := w.edge(&s, &rest, s.first, -1); got < -1.5 {
		t.Errorf("ln of how much likelier a cell makes it: %.1f, want hardly anything", got)
	}
}
