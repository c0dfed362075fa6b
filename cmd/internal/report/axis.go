package report

import (
	"fmt"
	"math"

	"pushback/analysis/limits"
	"pushback/analysis/series"
)

// scale is the range of an axis.
type scale struct{ lo, hi float64 }

// upper is what the upper panel shows: the voltage, or the lambda of a wide-range sensor.
func (t trace) upper() *series.Series {
	if t.Wide() {
		return &t.Lambda
	}
	return &t.Volts
}

// upperScale and trimScale hold all readings of all traces, so that figures beside each
// other have the same axes. That of lambda ends at leanest: where fuel is cut off a sensor
// reads as far as it can, and nothing else would be seen.
func (t trace) upperScale(ts ...trace) scale {
	s := scale{0, 1}
	if t.Wide() {
		s = scale{0.8, 1.2} // as on the screen and the page
	}
	for _, u := range ts {
		if u.Wide() != t.Wide() {
			continue
		}
		s = s.hold(u.upper())
		if t.Wide() {
			s = s.hold(&u.Command)
		} else {
			s = s.hold(&u.Down)
		}
	}
	if t.Wide() {
		s.hi = min(s.hi, leanest)
	}
	return scale{math.Floor(s.lo*10+1e-9) / 10, math.Ceil(s.hi*10-1e-9) / 10}
}

const (
	leanest  = 1.5 // lambda
	headRoom = 2.5 // %, above and below a trim
)

// middle is what parts rich from lean.
func (t trace) middle() float64 {
	if t.Wide() {
		return 1
	}
	return limits.SwitchPoint
}

func trimScale(ts ...trace) scale {
	s := scale{-10, 10}
	for _, t := range ts {
		s = s.hold(&t.Trim)
	}
	// Trim at its limit is not to lie on the frame.
	return scale{math.Floor((s.lo-headRoom)/5) * 5, math.Ceil((s.hi+headRoom)/5) * 5}
}

func (s scale) hold(points *series.Series) scale {
	for _, v := range points.Values() {
		if !math.IsNaN(v) {
			s = s.with(v)
		}
	}
	return s
}

// none holds no value yet.
var none = scale{math.Inf(1), math.Inf(-1)}

// with is the scale that holds v too.
func (s scale) with(v float64) scale { return scale{min(s.lo, v), max(s.hi, v)} }

// part is where a value lies between top (1) and bottom (0).
func (s scale) part(v float64) float64 { return (v - s.lo) / (s.hi - s.lo) }

// ticks are round values within a scale, about n of them.
func ticks(s scale, n int) []float64 {
	raw := (s.hi - s.lo) / float64(n)
	mag := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * mag
	for _, m := range []float64{1, 2, 5} {
		if m*mag >= raw*0.99 {
			step = m * mag
			break
		}
	}
	var out []float64
	for k := math.Ceil(s.lo/step - 1e-9); k*step <= s.hi+1e-9; k++ {
		out = append(out, k*step+0) // no minus zero
	}
	return out
}

// decimals are how many tell round values apart, 1 at the least.
func decimals(ticks []float64) int {
	if len(ticks) > 1 && ticks[1]-ticks[0] < 0.099 {
		return 2
	}
	return 1
}

// timeStep is a step of a time axis that has so many at most.
func timeStep(span, most float64) float64 {
	for _, s := range []float64{0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200} {
		if span/s <= most {
			return s
		}
	}
	return math.Ceil(span/most/3600) * 3600
}

// clock labels a time on an axis.
func clock(t, step float64) string {
	sign := ""
	if t < 0 {
		sign, t = "−", -t
	}
	s := int(math.Round(t))
	switch {
	case step < 1:
		return fmt.Sprintf("%s%.1f s", sign, t)
	case step < 60 && s < 120:
		return fmt.Sprintf("%s%d s", sign, s)
	case s >= 3600 || step >= 600:
		return fmt.Sprintf("%s%d:%02d h", sign, s/3600, s/60%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

func round1(v float64) float64 { return math.Round(10*v) / 10 }
