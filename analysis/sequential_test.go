package analysis

import (
	"math"
	"math/rand/v2"
	"testing"

	"pushback/analysis/recent"
)

// limitCycle hunts between turning points as a loop with dead time does, its period
// unsteady, with a drift of its own; half its period is what the sensor's switching shows.
func limitCycle(r *rand.Rand) (trim func(t float64) float64, half float64) {
	half = 0.3 + 1.5*r.Float64()
	high := 0.5 + 3*r.Float64()
	phase, at, up := r.Float64(), 0.0, 1.0
	length := half
	drift, last := wander(r, 0.1+0.7*r.Float64(), 0.3+2.7*r.Float64()), 0.0
	return func(t float64) float64 {
		for t > last {
			phase += min(0.01, t-last) / length
			last += 0.01
			if phase >= 1 {
				phase, up = 0, -up
				length = half * (0.7 + 0.6*r.Float64())
			}
		}
		at = up * high * (2*phase - 1)
		return at + drift(t)
	}, half
}

// wander is a first-order Gaussian process with the standard deviation sd (%) and the
// time constant tau (s).
func wander(r *rand.Rand, sd, tau float64) func(t float64) float64 {
	v, last := sd*r.NormFloat64(), 0.0
	return func(t float64) float64 {
		keep := math.Exp(-(t - last) / tau)
		v, last = keep*v+math.Sqrt(1-keep*keep)*sd*r.NormFloat64(), t
		return v
	}
}

// The chance that trim which goes on as at rest is taken for an answer, within a force
// of 30 s, is set to 1 in 1000. Processes whose laws are known, read 1 to 20 times a second
// at uneven intervals and in whole counts, must keep to it: an upper 99 % bound (of
// a Poisson count) would be passed by chance once in a hundred, so the seeds are fixed.
func TestFalseAlarmsOfTheAnswer(t *testing.T) {
	if testing.Short() {
		t.Skip("tries thousands of processes")
	}
	const trials = 4000
	most := int(falseAlarm*trials + 2.33*math.Sqrt(falseAlarm*trials))
	for _, c := range []struct {
		name string
		rest func(r *rand.Rand) (trim func(t float64) float64, half float64)
	}{
		{"white noise", func(r *rand.Rand) (func(float64) float64, float64) {
			sd := 0.2 + 2*r.Float64()
			return func(float64) float64 { return sd * r.NormFloat64() }, usualBlock
		}},
		{"limit cycle", limitCycle},
		{"wander", func(r *rand.Rand) (func(float64) float64, float64) {
			return wander(r, 0.3+r.Float64(), 0.3+2.7*r.Float64()), usualBlock
		}},
		{"stands still", func(r *rand.Rand) (func(float64) float64, float64) {
			v := 5 * r.NormFloat64()
			return func(float64) float64 { return v }, usualBlock
		}},
	} {
		wrong := 0
		for i := range trials {
			r := rand.New(rand.NewPCG(uint64(i), 7))
			trim, half := c.rest(r)
			a := feedRest(r, trim, half, 20+40*r.Float64(), longestHold)
			if a.state == answered || a.state == wrongWay {
				wrong++
			}
		}
		t.Logf("%-12s %d of %d", c.name, wrong, trials)
		if wrong > most {
			t.Errorf("%s: taken for an answer in %d forces of %d, at most %d asked", c.name, wrong, trials, most)
		}
	}
}

// The slowest loop that counts as alive, on the quietest trim and on one that hunts and
// drifts, is found within 15 s nearly always: what is set against false alarms must not
// cost the answer.
func TestPowerOfTheAnswer(t *testing.T) {
	for _, c := range []struct {
		name  string
		rest  func(r *rand.Rand) (func(float64) float64, float64)
		rate  float64 // % per s
		least float64 // share found
	}{
		{"still, slowest alive", func(r *rand.Rand) (func(float64) float64, float64) {
			return func(float64) float64 { return 0 }, usualBlock
		}, minLoopRate, 0.99},
		{"limit cycle", limitCycle, 2, 0.95},
	} {
		const trials = 1000
		found := 0
		for i := range trials {
			r := rand.New(rand.NewPCG(uint64(i), 8))
			trim, half := c.rest(r)
			began := 20 + 40*r.Float64()
			held := math.NaN()
			// While the wire is held the loop has nothing to hunt for: trim is a ramp.
			ramp := func(x float64) float64 {
				if x < began {
					return trim(x)
				}
				if math.IsNaN(held) {
					held = trim(began)
				}
				return held + c.rate*math.Max(0, x-began-0.5)
			}
			if a := feedHold(r, ramp, half, began, 15, Lean); a.state == answered {
				found++
			}
		}
		if share := float64(found) / trials; share < c.least {
			t.Errorf("%s: an answer of %g %% a second found in %.1f %% of the forces, %.0f %% asked", c.name, c.rate, 100*share, 100*c.least)
		}
	}
}

// Silence is said only where a loop that lives would have shown itself with a probability of
// 99 %: loops of the slowest rate that counts as alive, with up to 2.5 s until they begin, must not be
// called silent in more than one force of a hundred.
func TestPowerOfSilence(t *testing.T) {
	const trials = 1000
	quiet := 0
	for i := range trials {
		r := rand.New(rand.NewPCG(uint64(i), 9))
		level, rate := 5*r.NormFloat64(), minLoopRate*(1+r.Float64())
		began, delay := 20+20*r.Float64(), 2.5*r.Float64()
		every := 0.05 * math.Pow(20, r.Float64())
		var a answer
		base := trimBase{n: 20, seconds: 10, low: level - 0.8, high: level + 0.8, median: level, last: level}
		a.begin(Lean, began, began, base, noise{})
		for x := began; x < began+longestHold; x += every * (0.7 + 0.6*r.Float64()) {
			v := math.Round((level+rate*math.Max(0, x-began-delay))/trimCount) * trimCount
			a.add(recent.Reading{Lo: x - 0.02, Hi: x + 0.02, V: v}, v, v)
			if a.state == answerOpen && a.quiet() {
				quiet++
				break
			}
		}
	}
	if quiet > trials/100 {
		t.Errorf("%d of %d living loops called silent", quiet, trials)
	}
}

// feedRest gives the tests a rest and then a force during which trim goes on as before.
func feedRest(r *rand.Rand, trim func(float64) float64, half, rest, hold float64) answer {
	return feedHold(r, trim, half, rest, hold, []Side{Lean, Rich}[r.IntN(2)])
}

func feedHold(r *rand.Rand, trim func(float64) float64, half, rest, hold float64, side Side) answer {
	w := NewWatcher(Config{})
	every := 0.05 * math.Pow(20, r.Float64())
	read := func(x float64) recent.Reading {
		return recent.Reading{Lo: x - 0.02, Hi: x + 0.02, V: math.Round(trim(x)/trimCount) * trimCount}
	}
	x := 0.0
	next := func() { x += every * (0.7 + 0.6*r.Float64()) }
	for ; x < rest; next() {
		w.trim.short.Add(read(x))
	}
	var a answer
	block := min(max(half, minBlock), maxBlock)
	a.begin(side, rest, rest, w.trimBaseline(&w.trim, rest-trimBaselineFor, rest), w.noiseBefore(&w.trim, rest-restForTest, rest, block))
	for ; x < rest+hold; next() {
		p := read(x)
		a.add(p, p.V, p.V)
	}
	return a
}
