package wide

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// samples are what a port tells of the plant, ratio and trim in turn.
func (p plant) samples(seconds, rate float64, seed uint64) []decode.Sample {
	var out []decode.Sample
	next := 0.0
	id := decode.SensorID{Bank: 1, Position: 1}
	signals := []*decode.Signal{decode.ByName(id.Ratio()), decode.ByName(id.Trim()), decode.ByName("EQ_RAT"), decode.ByName(id.Status())}
	p.run(seconds, seed, func(s state) {
		if s.t < next {
			return
		}
		next = s.t + 1/rate
		at := time.Duration(s.t * float64(time.Second))
		for i, v := range []float64{s.lambda, 100 * s.trim, s.command, float64(s.status)} {
			out = append(out, decode.Sample{Signal: signals[i], Sent: at, Received: at + 20*time.Millisecond, Value: v})
		}
	})
	return out
}

// The window tells what sorting all of it each time tells.
func TestWindow(t *testing.T) {
	p := sound()
	p.feed = []feed{{0.07, 20, 1, 34, 0.5}}
	for _, rate := range []float64{1, 3, 10, 30} {
		if testing.Short() && rate > 3 {
			continue
		}
		w := New(analysis.Config{By: analysis.ByMixture})
		id, n := decode.SensorID{Bank: 1, Position: 1}, 0
		for i, s := range p.samples(60, rate, 1) {
			if i%37 == 5 || i/200%3 == 2 && s.Signal.Name == id.Trim() { // some is lost, and trim for a while
				continue
			}
			w.Step(s)
			if s.Signal.Name != id.Ratio() {
				continue
			}
			at := w.own.lambda.At(w.own.lambda.Len() - 1).T()
			w.past.slide(w, at, stepPast, stepGap)
			var all []float64
			for k := range w.own.lambda.Len() {
				if age := at - w.own.lambda.At(k).T(); age >= stepGap && age <= stepPast {
					all = append(all, w.disturbance(w.own.lambda.At(k)))
				}
			}
			middle, sd := spread(slices.Clone(all))
			if w.past.middle() != middle || w.past.spread() != sd {
				t.Fatalf("at %.1f/s, %.2f s: %v, %v; sorted %v, %v", rate, at, w.past.middle(), w.past.spread(), middle, sd)
			}
			n++
		}
		if n < 40 {
			t.Fatal("too few readings")
		}
	}
}

// BenchmarkStep is what a sample costs while nothing is forced, at 20 readings/s of four signals: 228 ns of processor
// before a search remembered its place, and less by 15 % since (both in turn on a machine at work).
func BenchmarkStep(b *testing.B) {
	list := sound().samples(300, 20, 1)
	w := New(analysis.Config{By: analysis.ByMixture})
	i := 0
	var off time.Duration
	b.ReportAllocs()
	for b.Loop() {
		if i == len(list) {
			i, off = 0, off+300*time.Second
		}
		s := list[i]
		s.Sent, s.Received = s.Sent+off, s.Received+off
		w.Step(s)
		i++
	}
}

// Of white noise a mean of a second spreads by less, the less the more readings it has, to a third of its variance; of a loop that hunts in
// a slow wave it spreads as its readings do. White noise by hand: 1/√3 of the readings' where there are three or more.
func TestSpreadOfMeans(t *testing.T) {
	for _, c := range []struct {
		rate        float64
		wave        float64 // s
		least, most float64 // in parts of the readings' spread
	}{{1, 0, 0.85, 1.001}, {12, 0, 0.5, 0.68}, {50, 0, 0.5, 0.68}, {12, 8, 0.95, 1.001}, {50, 8, 0.95, 1.001}} {
		rng := rand.New(rand.NewPCG(4, uint64(c.rate)))
		var mean float64
		for range 40 {
			var x window
			for i := range int(c.rate * (stepPast - stepGap)) {
				v := rng.NormFloat64()
				if c.wave > 0 {
					v = math.Sin(2 * math.Pi * float64(i) / c.rate / c.wave)
				}
				x.values = append(x.values, v)
			}
			x.sorted = slices.Sorted(slices.Values(x.values))
			mean += x.spreadOfMeans() / x.spread() / 40
		}
		if mean < c.least || mean > c.most {
			t.Errorf("%g readings/s, wave of %g s: %.2f, want %.2f to %.2f", c.rate, c.wave, mean, c.least, c.most)
		}
	}
}
