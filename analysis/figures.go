package analysis

import (
	"math"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// Figures is what the readings of a session show apart from any force: how the
// sensor switches and where the trims lie. NaN where nothing was read.
type Figures struct {
	Readings   int     // of the watched sensor while nobody forced it
	Seconds    float64 // that they cover
	PerSecond  float64 // readings/s
	Low, High  float64 // V, 1 % and 99 % quantiles (to a count of 5 mV)
	Mean       float64 // V
	ShareLean  float64 // below 0.20 V
	ShareMid   float64 // 0.20 to 0.70 V
	ShareRich  float64 // above 0.70 V
	Changes    int     // of side
	Per10s     float64 // changes of side in 10 s; NaN if the readings are too far apart to say
	ShortMean  float64 // %
	ShortLow   float64
	ShortHigh  float64
	LongMean   float64 // %
	TrimCount  int
	LongCount  int
	CanCountHz float64 // the fastest switching that these readings could show, Hz
}

// figures gathers Figures in constant memory.
type figures struct {
	hist            [257]int
	n               int
	sum             float64
	seconds         float64
	last            recent.Reading
	has             bool
	side            Side
	seen            stats.Crossings
	short, longT    moments
	shortLo, shortH float64
	reach           TrimReach // of short-term trim, forced or not
}

type moments struct {
	n   int
	sum float64
}

func (m *moments) add(v float64) { m.n++; m.sum += v }
func (m *moments) mean() float64 { return m.sum / float64(m.n) } // NaN for none

func (f *figures) addVolts(p recent.Reading, forced bool) {
	if forced {
		f.has = false
		return
	}
	if f.has && p.T()-f.last.T() < 10 {
		f.seconds += p.T() - f.last.T()
	} else {
		f.side = ""
	}
	f.n++
	f.sum += p.V
	f.hist[min(max(int(math.Round(p.V/0.005)), 0), len(f.hist)-1)]++
	s := sideOf(p.V)
	f.seen.Read(p.V, s != f.side, s != "" && f.side != "")
	if s != "" {
		f.side = s
	}
	f.last, f.has = p, true
}

func (f *figures) addTrim(v float64, forced bool) {
	f.reach.Add(v)
	if forced {
		return
	}
	if f.short.n == 0 {
		f.shortLo, f.shortH = v, v
	}
	f.short.add(v)
	f.shortLo, f.shortH = min(f.shortLo, v), max(f.shortH, v)
}

// bothSides reports whether the sensor was read on both sides: what does that is no input that lies where it lies.
func (f *figures) bothSides() bool {
	lean, rich := 0, 0
	for i, n := range f.hist {
		switch v := float64(i) * 0.005; {
		case v <= middleLow:
			lean += n
		case v >= middleHigh:
			rich += n
		}
	}
	return min(lean, rich) > 1
}

func (f *figures) addLong(v float64) { f.longT.add(v) }

func (f *figures) quantile(q float64) float64 {
	left := int(q * float64(f.n-1))
	for i, c := range f.hist {
		if left -= c; left < 0 {
			return float64(i) * 0.005
		}
	}
	return math.NaN()
}

// Figures returns what the session has shown so far.
func (w *Watcher) Figures() Figures { return w.fig.figures() }

// A FigureWatch gathers [Figures] for a watcher of another kind. The zero value has read nothing.
type FigureWatch struct{ f figures }

// Volts takes a reading of the watched sensor, V, that was read between two times, s.
func (f *FigureWatch) Volts(sent, received, v float64) {
	f.f.addVolts(recent.Reading{Lo: sent, Hi: received, V: v}, false)
}

// Trim takes short-term trim, %.
func (f *FigureWatch) Trim(v float64) { f.f.addTrim(v, false) }

// Long takes long-term trim, %.
func (f *FigureWatch) Long(v float64) { f.f.addLong(v) }

// Figures is what has come together so far.
func (f *FigureWatch) Figures() Figures { return f.f.figures() }

func (f *figures) figures() Figures {
	g := Figures{
		Readings: f.n, Seconds: f.seconds, Changes: f.seen.Changes,
		Low: math.NaN(), High: math.NaN(), Mean: math.NaN(), Per10s: math.NaN(), PerSecond: math.NaN(),
		ShareLean: math.NaN(), ShareMid: math.NaN(), ShareRich: math.NaN(),
		ShortMean: f.short.mean(), LongMean: f.longT.mean(), TrimCount: f.short.n, LongCount: f.longT.n,
		ShortLow: math.NaN(), ShortHigh: math.NaN(),
	}
	if f.short.n > 0 {
		g.ShortLow, g.ShortHigh = f.shortLo, f.shortH
	}
	if f.n == 0 {
		return g
	}
	g.Low, g.High, g.Mean = f.quantile(0.01), f.quantile(0.99), f.sum/float64(f.n)
	lean, rich := 0, 0
	for i, c := range f.hist {
		if i < 40 { // 0.20 V
			lean += c
		} else if i > 140 { // 0.70 V
			rich += c
		}
	}
	n := float64(f.n)
	g.ShareLean, g.ShareRich = float64(lean)/n, float64(rich)/n
	g.ShareMid = 1 - g.ShareLean - g.ShareRich
	if f.seconds > 0 {
		g.PerSecond = float64(f.n-1) / f.seconds
		g.CanCountHz = g.PerSecond / 2
		g.Per10s = f.seen.Per10s(f.seconds)
	}
	return g
}
