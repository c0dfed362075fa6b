package stats

import (
	"maps"
	"math"
	"slices"
)

// Tally counts values, for samples that are too long to keep and of which many are equal, as
// readings of a computer are. The zero Tally is empty. Values must be numbers.
type Tally struct {
	n      int
	counts map[float64]int
	sorted []float64 // of the counts; nil: not since the last value
}

// Add adds a value.
func (t *Tally) Add(v float64) {
	if t.counts == nil {
		t.counts = make(map[float64]int)
	}
	t.counts[v]++
	t.n++
	t.sorted = nil
}

// Len is how many values there are.
func (t *Tally) Len() int { return t.n }

func (t *Tally) sort() []float64 {
	if t.sorted == nil {
		t.sorted = slices.Sorted(maps.Keys(t.counts))
	}
	return t.sorted
}

// Quantile is the q-quantile as [Quantile] has it, NaN for no values.
func (t *Tally) Quantile(q float64) float64 {
	if t.n == 0 {
		return math.NaN()
	}
	x := q * float64(t.n-1)
	i := int(x)
	at, next := t.at(i), t.at(min(i+1, t.n-1))
	if i+1 >= t.n {
		return at
	}
	return at + (x-float64(i))*(next-at)
}

// at is the i-th smallest value, from 0.
func (t *Tally) at(i int) float64 {
	for _, v := range t.sort() {
		if i -= t.counts[v]; i < 0 {
			return v
		}
	}
	return math.NaN()
}

// Mean is the mean of the values, NaN for none.
func (t *Tally) Mean() float64 {
	sum := 0.0
	for _, v := range t.sort() {
		sum += v * float64(t.counts[v])
	}
	return sum / float64(t.n)
}

// SD is the standard deviation as [SD] has it, NaN for fewer than two values.
func (t *Tally) SD() float64 {
	if t.n < 2 {
		return math.NaN()
	}
	mean, ss := t.Mean(), 0.0
	for _, v := range t.sort() {
		ss += (v - mean) * (v - mean) * float64(t.counts[v])
	}
	return math.Sqrt(ss / float64(t.n-1))
}
