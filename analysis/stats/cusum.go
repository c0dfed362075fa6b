package stats

import "math"

// CUSUM is a one-sided cumulative sum: what each value exceeds K by is added up, never
// below zero, and more than H is an alarm (E. S. Page, Continuous inspection schemes,
// Biometrika 41, 1954). Values are in standard deviations from the mean at rest; K is
// half the shift that is looked for.
type CUSUM struct {
	K, H float64
	Sum  float64
}

// Add takes the next value and reports whether the sum is above H.
func (c *CUSUM) Add(x float64) bool {
	c.Sum = max(0, c.Sum+x-c.K)
	return c.Alarm()
}

// Alarm reports whether the sum is above H.
func (c *CUSUM) Alarm() bool { return c.Sum > c.H }

// runLength is how many independent normal values (standard deviation 1) a CUSUM with k
// and h takes on average until it alarms, when their mean is shift (D. Siegmund,
// Sequential Analysis, 1985: within 7 % of the exact value for k up to 1 and h of 3 and
// more).
func runLength(k, h, shift float64) float64 {
	d, b := shift-k, h+1.166
	if math.Abs(d) < 1e-6 {
		return b * b
	}
	return (math.Exp(-2*d*b) + 2*d*b - 1) / (2 * d * d)
}

// AlarmLimit is the H at which a CUSUM with k alarms within n independent standard normal
// values with probability alpha at most: the average run length is made 1.1·n/alpha, as
// run lengths at rest are close to exponential and Siegmund's figure is a little high.
//
// Special cases are: n below 1 counts as 1; an alpha that any H would keep is 0.
func AlarmLimit(k float64, n int, alpha float64) float64 {
	want := 1.1 * float64(max(n, 1)) / alpha
	lo, hi := 0.0, 50.0
	for range 50 {
		if h := (lo + hi) / 2; runLength(k, h, 0) < want {
			lo = h
		} else {
			hi = h
		}
	}
	return hi
}
