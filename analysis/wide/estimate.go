package wide

import (
	"pushback/analysis"
	"pushback/decode"
)

// estimate fits the ring's model to a force as far as it has been read.
func (w *Watcher) estimate(f *force) {
	from, to := f.begin-20, f.begin+longestForce
	if before := w.forceBefore(f); before != nil {
		from = max(from, before.end+wornOff)
	}
	end := f.end
	if !f.ended() {
		end = w.now + 1
	} else {
		to = f.end + recoverWithin
	}
	near := Shape{f.begin, 0.6, end, 0.6}
	f.fit, f.fitted = w.fit(&w.own, from, to, near, !f.ended())
	f.fitAt = w.now
	if w.other.lambda.Len() > 8 && interval(&w.other.lambda, from, to) < 1.1 {
		f.beside, f.hasBeside = w.fit(&w.other, from, to, near, !f.ended())
	}
	w.rearOf(f)
	w.measure(f)
}

// measure takes down what trim had made of a force.
func (w *Watcher) measure(f *force) {
	end := endOr(f, w.now)
	m := made{end: w.movedAt(f, end)}
	phi, _ := w.mean(end-2, end-0.2)
	m.off = abs(phi - f.rest)
	if f.ended() {
		m.came = m.end - w.movedAt(f, min(w.now, f.end+10))
		for i := w.own.lambda.From(f.end); i < w.own.lambda.Len() && w.own.lambda.At(i).T() < f.end+8; i++ {
			m.over = max(m.over, -f.sign*(w.excess(w.own.lambda.At(i))-f.rest))
		}
	}
	f.made = m
}

// movedAt is how far commanded fuel had gone against the force at t, a fraction.
func (w *Watcher) movedAt(f *force, t float64) float64 {
	var v []float64
	for i := w.own.trim.From(t - 2); i < w.own.trim.Len() && w.own.trim.At(i).T() <= t; i++ {
		v = append(v, w.fuel(&w.own, w.own.trim.At(i).T()))
	}
	if len(v) == 0 {
		return 0
	}
	return f.sign * (f.u0 - median(v))
}

// endOr is when the force ended, now if it has not.
func endOr(f *force, now float64) float64 {
	if f.ended() {
		return f.end
	}
	return now
}

// fit estimates one bank by the likeliest of its traces.
func (w *Watcher) fit(b *bank, from, to float64, near Shape, brief bool) (e Estimate, ok bool) {
	for _, tr := range w.traces(b, from, to) {
		if o, fits := Fit(tr, near, brief); fits && (!ok || o.LogLik > e.LogLik) {
			e, ok = o, true
		}
	}
	return e, ok
}

// total is both trims together at each reading of the short one, a fraction, freed of its rounding by what the loop reads.
func (w *Watcher) total(b *bank, from, to float64) (t, u []float64) {
	var off []float64
	s := &b.trim
	for i := s.From(from); i < s.Len() && s.At(i).T() <= to; i++ {
		x := s.At(i)
		t, u = append(t, x.T()), append(u, decode.TotalTrim(x.V, b.learned(i))/100)
		off = append(off, 1/b.lambda.Line(x.T())-1/w.command.Hold(x.T(), 1))
	}
	return t, smoothed(t, u, off, trimCount)
}

// learned is the long-term trim as it was when the i-th reading of the short one was made, %. It is read seldom, and what the computer
// learns it takes from short-term trim in the same moment: its change is where that steps most the other way.
func (b *bank) learned(i int) float64 {
	t := b.trim.At(i).T()
	k := b.long.From(t)
	if k == 0 || k == b.long.Len() {
		return b.long.Hold(t, 0)
	}
	was, is := b.long.At(k-1), b.long.At(k)
	if was.V == is.V {
		return is.V
	}
	at, most := (was.T()+is.T())/2, 0.4*abs(is.V-was.V)
	for j := max(1, b.trim.From(was.Lo)); j < b.trim.Len() && b.trim.At(j).Lo <= is.Hi; j++ {
		step := b.trim.At(j-1).V - b.trim.At(j).V
		if is.V < was.V {
			step = -step
		}
		if step > most {
			most, at = step, b.trim.At(j).Lo
		}
	}
	if t < at {
		return was.V
	}
	return is.V
}

// rearOf is what the sensor behind the catalyst said of a force and of its end.
func (w *Watcher) rearOf(f *force) {
	last := w.now
	if f.ended() {
		last = min(last, f.end+recoverWithin)
	}
	for _, rich := range []bool{true, false} {
		went, read := w.own.rearWent(rich, f.begin-10, f.begin, last)
		f.rearSays[rich], f.rearRead = went, read
	}
}

// rearWent reports whether the narrow sensor behind the catalyst, or a wide one, left what it said in
// [from, begin] for the side after it; read: it was read often enough to say so.
func (b *bank) rearWent(rich bool, from, begin, to float64) (went, read bool) {
	side := analysis.Lean
	if rich {
		side = analysis.Rich
	}
	if rest, after := b.rear.Values(nil, from, begin), b.rear.Values(nil, begin, to); len(rest) >= 2 && len(after) >= 3 {
		base := median(rest)
		n := 0
		for _, v := range after {
			if side == analysis.Rich && v >= 0.72 && v >= base+0.12 || side == analysis.Lean && v <= 0.3 && v <= base-0.2 {
				n++
			}
		}
		return n >= 2 || n == 1 && len(after) < 8, true
	}
	if rest, after := b.rearLambda.Values(nil, from, begin), b.rearLambda.Values(nil, begin, to); len(rest) >= 2 && len(after) >= 3 {
		base, n := median(rest), 0
		for _, v := range after {
			if side == analysis.Rich && v < base-0.01 || side == analysis.Lean && v > base+0.01 {
				n++
			}
		}
		return n >= 2, true
	}
	return false, false
}

// wornOff is how long after a force its flank and the loop's return disturb what is fitted to the next, s.
const wornOff = 8.0

// forceBefore is the force that ended before f began, nil: none.
func (w *Watcher) forceBefore(f *force) *force {
	for i := 1; i < len(w.forces); i++ {
		if &w.forces[i] == f {
			return &w.forces[i-1]
		}
	}
	return nil
}
