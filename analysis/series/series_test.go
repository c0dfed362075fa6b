package series

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// What goes in comes out bit by bit, whatever it is, and is found by its time.
func TestSeriesKeepsAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 2, perBlock - 1, perBlock, perBlock + 1, 5*perBlock + 7} {
		var s Series
		var want []Point
		at := time.Duration(0)
		for range n {
			at += time.Duration(rng.IntN(3)) * time.Duration(rng.IntN(40_000_000))
			v := float64(rng.IntN(256)) * 0.005
			switch rng.IntN(20) {
			case 0:
				v = math.NaN()
			case 1:
				v = rng.NormFloat64()
			}
			s.Add(at, v)
			want = append(want, Point{at.Seconds(), v})
		}
		same := func(a, b Point) bool {
			return a.T == b.T && math.Float64bits(a.V) == math.Float64bits(b.V)
		}
		if got := slices.Collect(s.All()); s.Len() != n || !slices.EqualFunc(got, want, same) {
			t.Fatalf("%d readings came out as %d others", n, len(got))
		}
		seen := map[uint64]bool{}
		for _, p := range want {
			seen[math.Float64bits(p.V)] = true
		}
		for _, v := range s.Values() {
			if !seen[math.Float64bits(v)] {
				t.Fatalf("of %d: %v is no reading's, or comes twice", n, v)
			}
			delete(seen, math.Float64bits(v))
		}
		if len(seen) > 0 {
			t.Fatalf("of %d: %d values are missing", n, len(seen))
		}
		for range 50 {
			i := rng.IntN(n + 1)
			j := i + rng.IntN(n+1-i)
			if !slices.EqualFunc(slices.Collect(s.Range(i, j)), want[i:j], same) {
				t.Fatalf("of %d: %d to %d differ", n, i, j)
			}
			from := rng.Float64() * at.Seconds() * 1.1
			if i < n && rng.IntN(2) == 0 {
				from = want[i].T
				if !same(s.At(i), want[i]) {
					t.Fatalf("of %d: %d is %v", n, i, s.At(i))
				}
			}
			first := slices.IndexFunc(want, func(p Point) bool { return p.T >= from })
			if first < 0 {
				first = n
			}
			if got := s.Index(from); got != first {
				t.Fatalf("of %d: %v s is at %d, want %d", n, from, got, first)
			}
		}
	}
}

// A computer's signal takes a third of its Go values.
func TestSeriesIsSmall(t *testing.T) {
	var s Series
	const n = 100_000
	for i := range n {
		s.Add(time.Duration(i)*16_667*time.Microsecond, float64(i*7%200)*0.005)
	}
	size := 0
	for _, b := range s.blocks {
		size += cap(b.bytes)
	}
	if size > 7*n {
		t.Errorf("%.1f bytes a reading", float64(size)/n)
	}
}

func ExampleSeries() {
	var s Series
	for i, v := range []float64{0.1, 0.45, 0.8} {
		s.Add(time.Duration(i)*time.Second, v)
	}
	for p := range s.Range(s.Index(0.5), s.Len()) {
		fmt.Println(p.T, p.V)
	}
	// Output:
	// 1 0.45
	// 2 0.8
}
