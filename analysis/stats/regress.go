package stats

import (
	"errors"
	"fmt"
	"math"
)

// ErrSingular means that the columns of a regression do not differ enough to tell
// their coefficients apart.
var ErrSingular = errors.New("columns are not independent")

// Fit is a linear regression y = X·Coef.
type Fit struct {
	Coef  []float64
	Cov   [][]float64 // of Coef, by the method that was asked for
	Scale float64     // robust standard deviation of the residuals
	N     int
	// DF is what the intervals may count: readings that follow each other within the
	// lag say the same.
	DF float64
}

// SE is the standard error of a coefficient.
func (f Fit) SE(i int) float64 { return math.Sqrt(f.Cov[i][i]) }

// Predict returns the fitted value at x and its standard error.
func (f Fit) Predict(x []float64) (y, se float64) {
	var v float64
	for i := range x {
		y += f.Coef[i] * x[i]
		for j := range x {
			v += x[i] * x[j] * f.Cov[i][j]
		}
	}
	return y, math.Sqrt(max(v, 0))
}

// T is the factor of a two-sided interval of the given level (0.95).
func (f Fit) T(level float64) float64 { return StudentQuantile((1+level)/2, max(f.DF, 1)) }

// Huber's constant: 95 % efficient on normal data.
const huberK = 1.345

// Huber fits y = X·b so that a share of outliers cannot carry it: Huber's M-estimate
// with the scale from the median absolute residual, by reweighted least squares (as
// rlm of the R package MASS does). The covariance is the sandwich of its score
// equations with Bartlett weights up to lag readings (Newey and West, Econometrica 55,
// 1987; as NeweyWest of the R package sandwich without prewhitening or adjustment), so
// x must be in order of time. Each row of x is one reading. The error wraps [ErrSingular].
//
// Special cases are: no more readings than columns, and columns of which one is made of the others, are singular, and so is what
// holds a reading that is not a number or not finite;
// readings that lie on the fit but for rounding have a Scale of 0.
func Huber(x [][]float64, y []float64, lag int) (Fit, error) { return fit(x, y, lag, huberK) }

// ols fits by ordinary least squares, with the same covariance.
func ols(x [][]float64, y []float64, lag int) (Fit, error) { return fit(x, y, lag, math.Inf(1)) }

func fit(x [][]float64, y []float64, lag int, k float64) (Fit, error) {
	n := len(y)
	if n == 0 || len(x) != n || n <= len(x[0]) {
		return Fit{}, fmt.Errorf("fit %d readings: %w", n, ErrSingular)
	}
	coef, r, scale, err := estimate(x, y, k)
	if err != nil {
		return Fit{}, err
	}
	f := Fit{Coef: coef, Scale: scale, N: n}
	f.DF = max(float64(n)/float64(lag+1)-float64(len(coef)), 1)
	f.Cov, err = sandwich(x, r, lag, k*scale)
	return f, err
}

// rounding is what sums of some thousand numbers lose of their size at the most.
const rounding = 1e-13

// estimate returns the coefficients with their residuals and the scale of those, reweighted until
// they stand; an infinite k weighs all alike.
func estimate(x [][]float64, y []float64, k float64) (coef, r []float64, scale float64, err error) {
	n := len(y)
	w := make([]float64, n)
	for i := range w {
		w[i] = 1
	}
	if coef, err = weighted(x, y, w); err != nil {
		return nil, nil, 0, err
	}
	r = make([]float64, n)
	scratch := make([]float64, n)
	size := 0.0
	for _, v := range y {
		size = max(size, math.Abs(v))
	}
	residuals := func() {
		for i := range r {
			r[i] = y[i] - dot(x[i], coef)
			scratch[i] = math.Abs(r[i])
		}
		if scale = Median(scratch) / 0.6745; scale < rounding*size { // how readings on the fit round is not how they scatter
			scale = 0
		}
	}
	residuals()
	for range 50 {
		if math.IsInf(k, 1) || scale == 0 {
			break
		}
		for i := range w {
			w[i] = min(1, k*scale/math.Abs(r[i]))
		}
		next, err := weighted(x, y, w)
		if err != nil {
			return nil, nil, 0, err
		}
		moved := 0.0
		for j := range coef {
			moved = max(moved, math.Abs(next[j]-coef[j])/(math.Abs(coef[j])+1e-9))
		}
		coef = next
		residuals()
		if moved < 1e-10 {
			break
		}
	}
	return coef, r, scale, nil
}

// sandwich is the covariance by the score equations: bread, their slope, around meat, their long-run
// variance. Residuals beyond cut are held to it; 0 or none: they are not.
func sandwich(x [][]float64, r []float64, lag int, cut float64) ([][]float64, error) {
	n, p := len(r), len(x[0])
	bread, meat := square(p), square(p)
	score := make([][]float64, n)
	for i := range score {
		psi, slope := r[i], 1.0
		if cut > 0 && math.Abs(r[i]) > cut { // never of an infinite one
			psi, slope = math.Copysign(cut, r[i]), 0
		}
		score[i] = make([]float64, p)
		for a := range p {
			score[i][a] = psi * x[i][a]
			for b := range p {
				bread[a][b] += slope * x[i][a] * x[i][b]
			}
		}
	}
	for l := 0; l <= lag && l < n; l++ {
		weight := 1 - float64(l)/float64(lag+1)
		for i := l; i < n; i++ {
			for a := range p {
				for b := range p {
					c := weight * score[i][a] * score[i-l][b]
					meat[a][b] += c
					if l > 0 {
						meat[b][a] += c
					}
				}
			}
		}
	}
	inv, err := invert(bread)
	if err != nil {
		return nil, err
	}
	return multiply(multiply(inv, meat), inv), nil
}

// weighted solves least squares by modified Gram-Schmidt, twice, which keeps the
// digits that normal equations lose (Longley's data).
func weighted(x [][]float64, y, w []float64) ([]float64, error) {
	n, p := len(y), len(x[0])
	q := make([][]float64, p)
	res := make([]float64, n)
	for j := range q {
		q[j] = make([]float64, n)
		for i := range n {
			q[j][i] = math.Sqrt(w[i]) * x[i][j]
		}
	}
	for i := range n {
		res[i] = math.Sqrt(w[i]) * y[i]
	}
	r, z := square(p), make([]float64, p)
	for j := range p {
		before := math.Sqrt(dot(q[j], q[j]))
		for range 2 {
			for k := range j {
				c := dot(q[k], q[j])
				r[k][j] += c
				for i := range n {
					q[j][i] -= c * q[k][i]
				}
			}
		}
		length := math.Sqrt(dot(q[j], q[j]))
		if !(length > 1e-10*before) {
			return nil, ErrSingular
		}
		r[j][j] = length
		for i := range n {
			q[j][i] /= length
		}
	}
	for range 2 {
		for j := range p {
			c := dot(q[j], res)
			z[j] += c
			for i := range n {
				res[i] -= c * q[j][i]
			}
		}
	}
	b := make([]float64, p)
	for j := p - 1; j >= 0; j-- {
		b[j] = z[j]
		for k := j + 1; k < p; k++ {
			b[j] -= r[j][k] * b[k]
		}
		b[j] /= r[j][j]
	}
	return b, nil
}

func dot(a, b []float64) float64 {
	var s float64
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

func square(p int) [][]float64 {
	m := make([][]float64, p)
	for i := range m {
		m[i] = make([]float64, p)
	}
	return m
}

func multiply(a, b [][]float64) [][]float64 {
	c := square(len(a))
	for i := range a {
		for j := range a {
			for k := range a {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

// invert inverts by Gauss-Jordan with the rows scaled and the largest pivot first.
func invert(m [][]float64) ([][]float64, error) {
	p := len(m)
	a, inv := square(p), square(p)
	// Scale by the diagonal: 1/airflow and airflow differ by orders of magnitude.
	d := make([]float64, p)
	for i := range m {
		if !(m[i][i] > 0) {
			return nil, ErrSingular
		}
		d[i] = 1 / math.Sqrt(m[i][i])
	}
	for i := range m {
		inv[i][i] = 1
		for j := range m {
			a[i][j] = m[i][j] * d[i] * d[j]
		}
	}
	for c := range p {
		best := c
		for r := c + 1; r < p; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		if math.Abs(a[best][c]) < 1e-12 {
			return nil, ErrSingular
		}
		a[c], a[best], inv[c], inv[best] = a[best], a[c], inv[best], inv[c]
		pivot := a[c][c]
		for j := range p {
			a[c][j] /= pivot
			inv[c][j] /= pivot
		}
		for r := range p {
			if r == c {
				continue
			}
			f := a[r][c]
			for j := range p {
				a[r][j] -= f * a[c][j]
				inv[r][j] -= f * inv[c][j]
			}
		}
	}
	for i := range p {
		for j := range p {
			inv[i][j] *= d[i] * d[j]
		}
	}
	return inv, nil
}

// Lag is how many readings a Newey-West sum must reach back: the usual
// 4·(n/100)^(2/9), or as many as the given time holds, whichever is more; at most a
// quarter of n.
//
// Special cases are: a rate that is NaN or 0 leaves the usual; fewer than four readings have none.
func Lag(n int, perSecond, seconds float64) int {
	l := math.Max(math.Floor(4*math.Pow(float64(n)/100, 2.0/9)), math.Ceil(perSecond*seconds))
	if math.IsNaN(perSecond) {
		l = math.Floor(4 * math.Pow(float64(n)/100, 2.0/9))
	}
	return int(math.Min(l, float64(n/4)))
}
