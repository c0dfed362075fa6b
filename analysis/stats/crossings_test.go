package stats

import (
	"math"
	"testing"
)

// Each is 60 s of readings, worked by hand: of a count n in the middle and k changes seen, n > e + 2.33·√e + 1 with e = k · 0.15 s · new readings/s
// cannot be what the k put there.
func TestCrossings(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name      string
		perSecond int
		volts     []float64 // again and again
		want      float64
	}{
		{"a change each 5 s, none in between", 1, []float64{0.1, 0.1, 0.1, 0.1, 0.1, 0.8, 0.8, 0.8, 0.8, 0.8}, 10 * 11 / 60.0},
		{"as many, and each second stay dips into the middle", 1, []float64{0.1, 0.1, 0.5, 0.1, 0.1, 0.8, 0.8, 0.4, 0.8, 0.8}, nan}, // 12 > 1.2 + 2.6 + 1
		{"as many, once in 60 s", 1, append(repeat(0.1, 29), 0.5, 0.8, 0.8), 10 * 2 / 60.0},
		{"every reading on another side", 1, []float64{0.1, 0.8}, nan},
		{"it lies in the middle", 1, []float64{0.45}, 0},
		{"it lies in the middle and is read often", 20, []float64{0.45}, 0},
		{"in the middle as often, where the quickest cycle would be seen", 20, []float64{0.1, 0.11, 0.5, 0.12, 0.1, 0.8, 0.81, 0.4, 0.82, 0.8}, 10 * 239 / 60.0},
		{"the same, but refreshed each second", 20, stretched(20, 0.1, 0.11, 0.5, 0.12, 0.1, 0.8, 0.81, 0.4, 0.82, 0.8), nan},
	} {
		var x Crossings
		was := 0
		for i := range 60 * c.perSecond {
			v := c.volts[i%len(c.volts)]
			side := was
			if v > 0.55 {
				side = 1
			} else if v < 0.35 {
				side = -1
			}
			x.Read(v, side != was, was != 0)
			was = side
		}
		if got := x.Per10s(60); math.IsNaN(got) != math.IsNaN(c.want) || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if x := (&Crossings{}); !math.IsNaN(x.Per10s(60)) {
		t.Error("nothing read")
	}
}

func repeat(v float64, n int) (out []float64) {
	for range n {
		out = append(out, v)
	}
	return out
}

func stretched(n int, volts ...float64) (out []float64) {
	for _, v := range volts {
		out = append(out, repeat(v, n)...)
	}
	return out
}
