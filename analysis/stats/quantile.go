package stats

import (
	"math"
	"math/bits"
	"slices"
)

// Median returns the middle of v, NaN for none. It reorders v.
func Median(v []float64) float64 { return Quantile(v, 0.5) }

// Quantile returns the q-quantile of v by linear interpolation of the order statistics
// (definition 7 of Hyndman and Fan, The American Statistician 50, 1996). It reorders v.
//
// Special cases are: none is NaN; one value is that for any q; q is 0 to 1, and the values are finite.
func Quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	x := q * float64(len(v)-1)
	i := int(x)
	find(v, i)
	if i+1 >= len(v) {
		return v[i]
	}
	return v[i] + (x-float64(i))*(slices.Min(v[i+1:])-v[i])
}

// SortedQuantile is [Quantile] of values that are in order already.
func SortedQuantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	x := q * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// find puts at k what would stand there if v were sorted, nothing greater before it and
// nothing less after it (C. A. R. Hoare, Algorithm 65, Communications of the ACM 4, 1961).
// What takes too many rounds is sorted.
func find(v []float64, k int) {
	lo, hi := 0, len(v)-1
	for rounds := 2 * bits.Len(uint(len(v))); lo < hi; rounds-- {
		if rounds == 0 {
			slices.Sort(v[lo : hi+1])
			return
		}
		i, j, pivot := lo, hi, v[k]
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		if j < k {
			lo = i
		}
		if k < i {
			hi = j
		}
	}
}

// normalQuantile is the p-quantile of the standard normal distribution.
func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// StudentQuantile is the p-quantile of Student's t with df degrees of freedom, df ≥ 1,
// not necessarily whole (G. W. Hill, Algorithm 396, Communications of the ACM 13, 1970;
// good to about six digits, a little less below 5 degrees).
//
// Special cases are: p of 0 is -Inf, of 1 +Inf, NaN is NaN; df of +Inf, or above a million, is the normal distribution.
func StudentQuantile(p, df float64) float64 {
	if p < 0.5 {
		return -StudentQuantile(1-p, df)
	}
	two := 2 * (1 - p)
	switch {
	case math.IsInf(df, 1) || df > 1e6:
		return normalQuantile(p)
	case df == 1:
		return 1 / math.Tan(two*math.Pi/2)
	case df == 2:
		return math.Sqrt(2/(two*(2-two)) - 2)
	}
	a := 1 / (df - 0.5)
	b := 48 / (a * a)
	c := ((20700*a/b-98)*a-16)*a + 96.36
	d := ((94.5/(b+c)-3)/b + 1) * math.Sqrt(a*math.Pi/2) * df
	x := d * two
	y := math.Pow(x, 2/df)
	if y > 0.05+a {
		x = normalQuantile(two * 0.5)
		y = x * x
		if df < 5 {
			c += 0.3 * (df - 4.5) * (x + 0.6)
		}
		c += (((0.05*d*x-5)*x-7)*x-2)*x + b
		y = (((((0.4*y+6.3)*y+36)*y+94.5)/c-y-3)/b + 1) * x
		y = math.Expm1(a * y * y)
	} else {
		y = ((1/(((df+6)/(df*y)-0.089*d-0.822)*(df+2)*3)+0.5/(df+4))*y-1)*(df+1)/(df+2) + 1/y
	}
	return math.Sqrt(df * y)
}
