package stats

import (
	"math"
	"math/rand/v2"
)

// BlockMeans resamples a series of groups (cells of a map) in blocks of consecutive
// readings, with the end joined to the beginning (Politis and Romano, 1992; as tsboot of
// the R package boot with sim "fixed"), and returns for each of times resamples the
// mean of each group; NaN where a resample has none of a group. group[i] is the group
// of reading i, from 0, or -1 for none. The same seed gives the same means.
//
// Special cases are: a block below 1 is 1, and one longer than the series is the series; of no readings all means are NaN.
func BlockMeans(group []int, y []float64, groups, block, times int, seed uint64) [][]float64 {
	rng := rand.New(rand.NewPCG(seed, 0x9E3779B97F4A7C15))
	n := len(y)
	block = max(block, 1)
	// Running sums and counts of each group, so that a block costs one step, whatever its
	// length: sums[i*groups+g] is of the readings before i.
	sums, counts := make([]float64, (n+1)*groups), make([]float64, (n+1)*groups)
	for i := range n {
		copy(sums[(i+1)*groups:], sums[i*groups:(i+1)*groups])
		copy(counts[(i+1)*groups:], counts[i*groups:(i+1)*groups])
		if g := group[i]; g >= 0 {
			sums[(i+1)*groups+g] += y[i]
			counts[(i+1)*groups+g]++
		}
	}
	out := make([][]float64, times)
	count := make([]float64, groups)
	for t := range out {
		m := make([]float64, groups)
		clear(count)
		add := func(from, to int) {
			for g := range m {
				m[g] += sums[to*groups+g] - sums[from*groups+g]
				count[g] += counts[to*groups+g] - counts[from*groups+g]
			}
		}
		for left := n; left > 0; {
			from, length := rng.IntN(n), min(block, left)
			if to := from + length; to <= n {
				add(from, to)
			} else {
				add(from, n)
				add(0, to-n)
			}
			left -= length
		}
		for g := range m {
			if count[g] == 0 {
				m[g] = math.NaN()
				continue
			}
			m[g] /= count[g]
		}
		out[t] = m
	}
	return out
}

// SD is the standard deviation of the values that are numbers.
//
// Special cases are: NaNs are left out; fewer than two numbers are NaN.
func SD(v []float64) float64 {
	var n, sum float64
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
			sum += x
		}
	}
	mean, ss := sum/n, 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			ss += (x - mean) * (x - mean)
		}
	}
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(ss / (n - 1))
}

// Holm returns which of the hypotheses with these p-values are rejected at the level
// for all of them together (Holm, Scandinavian Journal of Statistics 6, 1979).
//
// Special cases are: NaN is not tested and never rejected, but counted; none is none.
func Holm(p []float64, level float64) []bool {
	out := make([]bool, len(p))
	for done := 0; done < len(p); done++ {
		best := -1
		for i, q := range p {
			if !out[i] && !math.IsNaN(q) && (best < 0 || q < p[best]) {
				best = i
			}
		}
		if best < 0 || !(p[best] <= level/float64(len(p)-done)) {
			break
		}
		out[best] = true
	}
	return out
}

// StudentP is the two-sided p-value of a t-value with df degrees of freedom, to
// about 1e-6: the level at which its interval just excludes zero.
//
// Special cases are: t of ±Inf is 0, of NaN 1.
func StudentP(t, df float64) float64 {
	t = math.Abs(t)
	lo, hi := 0.5, 1.0 // of the distribution at t
	if math.IsInf(t, 1) {
		return 0
	}
	for range 60 {
		mid := (lo + hi) / 2
		if mid < 1 && StudentQuantile(mid, df) < t {
			lo = mid
		} else {
			hi = mid
		}
	}
	return 2 * (1 - lo)
}
