package stats

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// A tally says what the plain functions say of all its values.
func TestTally(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOf(rapid.Float64Range(-100, 100)).Draw(t, "values")
		for i := range all {
			all[i] = math.Round(all[i]) // so that many are equal
		}
		var tally Tally
		for _, v := range all {
			tally.Add(v)
		}
		same := func(what string, got, want float64) {
			if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-9 {
				t.Fatalf("%s of %v is %v, want %v", what, all, got, want)
			}
		}
		same("standard deviation", tally.SD(), SD(all))
		for _, q := range []float64{0, 0.01, 0.1, 0.5, 0.9, 1} {
			same(fmt.Sprint("quantile ", q), tally.Quantile(q), Quantile(append([]float64{}, all...), q))
		}
		if tally.Len() != len(all) {
			t.Fatalf("%d values of %d", tally.Len(), len(all))
		}
	})
}

func ExampleTally() {
	var t Tally
	for _, v := range []float64{2, 4, 4, 4, 5, 5, 7, 9} {
		t.Add(v)
	}
	fmt.Printf("%d values, median %.1f, standard deviation %.3f\n", t.Len(), t.Quantile(0.5), t.SD())
	// Output: 8 values, median 4.5, standard deviation 2.138
}
