package stats

import (
	"cmp"
	"math"
	"slices"
)

// Tally counts values, for samples that are too long to keep and of which many are equal, as
// readings of a computer are. The zero Tally is empty. Values must be numbers.
type Tally struct {
	n      int
	all    []counted
	places map[float64]int // in all
	near   [64]int         // some of these places, by a hash
	sorted bool            // all is by value, which makes the places wrong: they are nil
}

// counted is a value, and how often it came.
type counted struct {
	v float64
	n int
}

// Add adds a value.
func (t *Tally) Add(v float64) {
	t.n++
	near := &t.near[math.Float64bits(v)*0x9E3779B97F4A7C15>>58]
	if *near < len(t.all) && t.all[*near].v == v { // right after sorting too
		t.all[*near].n++
		return
	}
	if t.places == nil {
		t.places = make(map[float64]int)
		for i, c := range t.all {
			t.places[c.v] = i
		}
	}
	i, ok := t.places[v]
	if !ok {
		i = len(t.all)
		t.all, t.sorted = append(t.all, counted{v: v}), false
		t.places[v] = i
	}
	t.all[i].n++
	*near = i
}

// Len is how many values there are.
func (t *Tally) Len() int { return t.n }

func (t *Tally) sort() []counted {
	if !t.sorted {
		slices.SortStableFunc(t.all, func(a, b counted) int { return cmp.Compare(a.v, b.v) })
		t.sorted, t.places = true, nil
	}
	return t.all
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
	for _, c := range t.sort() {
		if i -= c.n; i < 0 {
			return c.v
		}
	}
	return math.NaN()
}

// Mean is the mean of the values, NaN for none.
func (t *Tally) Mean() float64 {
	sum := 0.0
	for _, c := range t.sort() {
		sum += c.v * float64(c.n)
	}
	return sum / float64(t.n)
}

// SD is the standard deviation as [SD] has it, NaN for fewer than two values.
func (t *Tally) SD() float64 {
	if t.n < 2 {
		return math.NaN()
	}
	mean, ss := t.Mean(), 0.0
	for _, c := range t.sort() {
		ss += (c.v - mean) * (c.v - mean) * float64(c.n)
	}
	return math.Sqrt(ss / float64(t.n-1))
}
