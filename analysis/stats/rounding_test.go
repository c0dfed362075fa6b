package stats

import (
	"math/rand/v2"
	"testing"
)

// Readings that lie on a fit leave what rounding leaves, which goes with the machine: that is no scatter by which most of them are outliers.
func TestHuberOfExactReadings(t *testing.T) {
	src := rand.New(rand.NewPCG(1, 1))
	for trial := range 300 {
		a, b, c := src.NormFloat64(), 45*src.Float64(), src.NormFloat64()/10
		var x [][]float64
		var y []float64
		for range 2 {
			for _, flow := range []float64{3, 6, 12, 24} {
				v := a + b/flow + c*flow
				for range 40 {
					x, y = append(x, []float64{1 / flow, 1, flow}), append(y, v)
				}
			}
		}
		f, err := Huber(x, y, 3)
		if err != nil || f.Scale > 1e-12 {
			t.Fatalf("trial %d: %+v, %v", trial, f, err)
		}
	}
}
