package wide

import "math"

// Trace is what the estimate is made of: readings of one force with the rest before and the return
// after it, in order of time, s. Y is the measured excess of fuel 1/λ − 1, U the commanded one
// (short-term trim, long-term trim and what the computer feeds forward), both as fractions.
// F is the factor of U + 1 that the computer feeds forward by its commanded ratio, nil: none. Sways: that ratio may sway about
// what F says of it. V is how far the purge valve was open at the readings of Y, 0 to 1, as its vapour comes; nil: it stood, or was not read.
type Trace struct {
	YT, Y    []float64
	UT, U, F []float64
	V        []float64
	Sways    bool
}

// staleFor is how long the same value may be told without being new, s: the computer renews what it tells each 0.05 to 0.5 s.
const staleFor = 0.7

// fresh leaves out what is told again: the noise in it is no new one, and commanded fuel stands still in it while it
// truly moves. Where the ratio is renewed seldom, commanded fuel is taken when that is.
func (tr Trace) fresh() Trace {
	out := Trace{Sways: tr.Sways}
	last := math.Inf(-1)
	for i, t := range tr.YT {
		if i == 0 || tr.Y[i] != tr.Y[i-1] || t-last > staleFor {
			out.YT, out.Y = append(out.YT, t), append(out.Y, tr.Y[i])
			if tr.V != nil {
				out.V = append(out.V, tr.V[i])
			}
			last = t
		}
	}
	if len(out.YT) > len(tr.YT)*2/3 {
		return tr
	}
	k := 0
	for i, t := range tr.UT {
		renewed := false // since the reading before
		for ; k < len(out.YT) && out.YT[k] <= t; k++ {
			renewed = true
		}
		if renewed || i == 0 {
			out.UT, out.U = append(out.UT, t), append(out.U, tr.U[i])
			if tr.F != nil {
				out.F = append(out.F, tr.F[i])
			}
		}
	}
	if len(out.U) < 8 {
		out.UT, out.U, out.F = tr.UT, tr.U, tr.F
	}
	return out
}

// trace is what was read of a bank, with the commanded ratio as part of the fuel or without; varies
// tells whether that ratio has moved.
func (w *Watcher) trace(b *bank, from, to float64, fed bool) (tr Trace, varies bool) {
	s := &b.lambda
	for i := s.From(from); i < s.Len() && s.At(i).T() <= to; i++ {
		tr.YT, tr.Y = append(tr.YT, s.At(i).T()), append(tr.Y, 1/s.At(i).V-1)
	}
	tr.V = w.vapour(tr.YT)
	tr.UT, tr.U = w.total(b, from-3, to)
	for i, t := range tr.UT {
		f := 1.0
		if fed {
			f /= w.command.Hold(t, 1)
		}
		tr.U[i] = (1+tr.U[i])*f - 1
		tr.F = append(tr.F, f)
	}
	lo, hi := 2.0, 0.0
	for _, v := range w.command.Values(nil, from, to) {
		lo, hi = min(lo, v), max(hi, v)
	}
	return tr, hi-lo > 0.003
}

// traces are what may have been commanded of a bank: the computer feeds its own change of the commanded ratio forward as it is told, or
// sways about what is told too seldom or not at all, or leaves it to trim.
func (w *Watcher) traces(b *bank, from, to float64) []Trace {
	fed, varies := w.trace(b, from, to, true)
	if !varies {
		fed.Sways = true
		return []Trace{fed}
	}
	plain, _ := w.trace(b, from, to, false)
	plain.Sways = interval(&w.command, from, to) > leastSway/2 // what is read twice in its period is known
	return []Trace{fed, plain}
}

// What a purge valve lets in, as far as it is known before: it comes by way of the canister's line and the intake (common practice, no source).
const (
	vapourLate = 0.5 // s from the command to the sensor
	vapourLag  = 1.0 // s
	leastPurge = 8.0 // %: what moves less is no purge
)

// vapour is how far the purge valve was open (PID 2E), 0 to 1, as its vapour comes to the sensor at such times; nil: it stood still, or was
// hardly read. How strong the vapour is nobody knows: that is fitted.
func (w *Watcher) vapour(t []float64) []float64 {
	if len(t) == 0 {
		return nil
	}
	lo, hi, n := w.purge.Span(t[0], t[len(t)-1])
	if n < 3 || hi-lo < leastPurge {
		return nil
	}
	out := make([]float64, len(t))
	last, v := t[0], w.purge.Line(t[0]-vapourLate)
	for i, at := range t {
		v += (w.purge.Line(at-vapourLate) - v) * (1 - math.Exp(-(at-last)/vapourLag))
		last, out[i] = at, v/100
	}
	return out
}
