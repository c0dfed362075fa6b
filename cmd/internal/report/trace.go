package report

import (
	"math"

	"pushback/analysis/dossier"
	"pushback/analysis/series"
)

// A trace is what is drawn of a session.
type trace struct{ *dossier.Trace }

// run is a stretch of readings that are joined by a line.
type run []series.Point

// thinned is what a drawing can show of a series, and how many readings there are between its ends.
type thinned struct {
	runs  []run
	span  scale
	count int
}

// shown is that of what a view shows.
type shown struct{ upper, beside, trim thinned }

func (t trace) shown(v view) shown {
	beside := &t.Down
	if t.Wide() {
		beside = &t.Command
	}
	of := func(points *series.Series) thinned { return thin(points, v.from, v.to, fine) }
	return shown{of(t.upper()), of(beside), of(&t.Trim)}
}

// thin keeps what a drawing of so many columns can show of points between from and to:
// of each column the first, the lowest, the highest and the last, in order of time, so
// that no peak is lost. One point beyond each end is kept, so that lines reach the edge.
// A NaN, or a pause far longer than usual, parts runs.
func thin(points *series.Series, from, to float64, columns int) thinned {
	out := thinned{span: none}
	if to <= from || columns < 1 {
		return out
	}
	first, beyond := max(0, points.Index(from)-1), min(points.Len(), points.Index(to)+1)
	pause := max(2.0, 6*usualStep(points, first, beyond))
	var cur run
	var c column
	end := func() {
		cur = c.flush(cur)
		if len(cur) > 0 {
			out.runs = append(out.runs, cur)
		}
		cur = nil
	}
	last, within := math.Inf(-1), math.Inf(-1)
	for p := range points.Range(first, beyond) {
		if math.IsNaN(p.V) {
			end()
			continue
		}
		if p.T-last > pause && !math.IsInf(last, -1) {
			end()
		}
		out.take(p, from, to)
		if c.n == 0 || p.T < last || p.T >= within {
			if k := int(math.Floor((p.T - from) / (to - from) * float64(columns))); k != c.k || c.n == 0 {
				cur = c.flush(cur)
				c.k = k
				within = from + (float64(k)+0.999)*(to-from)/float64(columns) // that column's too, far beyond what is rounded
			}
		}
		last = p.T
		c.add(p)
	}
	end()
	for p := range points.Range(beyond, points.Len()) { // more at the very end
		if p.T > to {
			break
		}
		out.take(p, from, to)
	}
	return out
}

// take counts a reading that lies between from and to.
func (t *thinned) take(p series.Point, from, to float64) {
	if from <= p.T && p.T <= to && !math.IsNaN(p.V) {
		if p.V < t.span.lo || p.V > t.span.hi {
			t.span = t.span.with(p.V)
		}
		t.count++
	}
}

// usualStep is the mean time between the readings from one to below another.
func usualStep(points *series.Series, from, to int) float64 {
	if to-from < 2 {
		return 0
	}
	return (points.At(to-1).T - points.At(from).T) / float64(to-from-1)
}

// column is what one column of a drawing holds.
type column struct {
	k, n                  int
	first, low, high, end series.Point
}

func (c *column) add(p series.Point) {
	if c.n == 0 {
		c.first, c.low, c.high = p, p, p
	}
	if p.V < c.low.V {
		c.low = p
	}
	if p.V > c.high.V {
		c.high = p
	}
	c.end = p
	c.n++
}

// flush adds the column's points to a run and empties it.
func (c *column) flush(to run) run {
	if c.n == 0 {
		return to
	}
	a, b := c.low, c.high
	if b.T < a.T {
		a, b = b, a
	}
	for _, p := range []series.Point{c.first, a, b, c.end} {
		if n := len(to); n == 0 || to[n-1] != p {
			to = append(to, p)
		}
	}
	c.n = 0
	return to
}
