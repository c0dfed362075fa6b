package switching

import (
	"math"
	"math/rand/v2"

	"pushback/analysis/stats"
)

// Figure is one figure of a band that two recordings can be compared by.
type Figure int

// Figures, in the order in which they are shown.
const (
	Lowest Figure = iota
	Highest
	Mean
	ShareRich
	Changes
	Period
	RiseTime
	FallTime
	figures
)

// Figures lists all of them.
func Figures() (all []Figure) {
	for f := range figures {
		all = append(all, f)
	}
	return all
}

var figureNames = [...][2]string{
	{"lowest voltage (1 %)", "V"}, {"highest voltage (99 %)", "V"}, {"mean voltage", "V"},
	{"share rich", ""}, {"changes of side in 10 s", ""}, {"period", "s"},
	{"rise 0.30 to 0.60 V", "s"}, {"fall 0.60 to 0.30 V", "s"},
}

func (f Figure) String() string { return figureNames[f][0] }

// Unit is V, s, or "" for a bare number.
func (f Figure) Unit() string { return figureNames[f][1] }

// Of returns the figure of a band, NaN where it was not measured.
func (f Figure) Of(b SpeedBand) float64 {
	return [...]float64{b.Low, b.High, b.Mean, b.ShareRich, b.Per10s, b.Period, b.Rise.middle(), b.Fall.middle()}[f]
}

func (e Edge) middle() float64 {
	if !e.Shown() {
		return math.NaN()
	}
	return (e.AtLeast + e.AtMost) / 2
}

// Step is how finely the readings can tell a figure: the voltage comes in steps of 5 mV, a
// change of side is dated between two readings, a transition by its bracket.
func (f Figure) Step(b SpeedBand) float64 {
	switch f {
	case Lowest, Highest:
		return step
	case Period:
		return 1 / b.PerSecond
	case RiseTime:
		return b.Rise.AtMost - b.Rise.AtLeast
	case FallTime:
		return b.Fall.AtMost - b.Fall.AtLeast
	}
	return 0
}

const (
	step     = 0.005 // V, of service 01
	partTime = 10.0  // s: several cycles of the loop
)

// part is some seconds of a band.
type part struct {
	seconds      float64
	n, above     float64
	sum          float64     // V
	volts        [300]uint32 // how often each step was read
	changes      float64
	periods      []float64 // s
	rises, falls []float64 // s, middles of their brackets
}

func (p *part) reading(v float64) {
	p.n++
	p.sum += v
	p.volts[min(max(int(math.Round(v/step)), 0), len(p.volts)-1)]++
	if v > switchPoint {
		p.above++
	}
}

func (p *part) add(o *part) {
	p.seconds += o.seconds
	p.n += o.n
	p.above += o.above
	p.sum += o.sum
	for i, k := range o.volts {
		p.volts[i] += k
	}
	p.changes += o.changes
	p.periods = append(p.periods, o.periods...)
	p.rises = append(p.rises, o.rises...)
	p.falls = append(p.falls, o.falls...)
}

func (p *part) quantile(q float64) float64 {
	left := q * (p.n - 1)
	for i, k := range p.volts {
		if left -= float64(k); left < 0 {
			return float64(i) * step
		}
	}
	return math.NaN()
}

func (p *part) figure(f Figure) float64 {
	switch f {
	case Lowest:
		return p.quantile(0.01)
	case Highest:
		return p.quantile(0.99)
	case Mean:
		return p.sum / p.n
	case ShareRich:
		return p.above / p.n
	case Changes:
		return 10 * p.changes / p.seconds
	case RiseTime:
		return stats.Median(p.rises)
	case FallTime:
		return stats.Median(p.falls)
	}
	return stats.Median(p.periods)
}

// cutter cuts a stretch into equal parts of about partTime.
type cutter struct {
	parts        []part
	from, length float64
}

func newCutter(all *[]part, from, to float64) cutter {
	seconds := to - from
	n := max(int(math.Round(seconds/partTime)), 1)
	for range n {
		*all = append(*all, part{seconds: seconds / float64(n)})
	}
	return cutter{(*all)[len(*all)-n:], from, seconds / float64(n)}
}

func (c cutter) at(at float64) *part {
	i := 0
	if c.length > 0 {
		i = int((at - c.from) / c.length)
	}
	return &c.parts[min(i, len(c.parts)-1)]
}

// Blocks is of how many parts of some 10 s a band consists.
func (b SpeedBand) Blocks() int { return len(b.parts) }

// Errors returns the standard error of each figure by resampling parts of some 10 s that
// do not overlap (E. Carlstein, Annals of Statistics 14, 1986): readings that follow each
// other are not independent. The same seed gives the same errors.
//
// Special cases are: fewer than two parts are NaN; parts that are all alike have errors of 0.
func (b SpeedBand) Errors(times int, seed uint64) []float64 {
	out := make([]float64, figures)
	if len(b.parts) < 2 {
		for f := range out {
			out[f] = math.NaN()
		}
		return out
	}
	rng := rand.New(rand.NewPCG(seed, 0x73776974))
	values := make([][]float64, figures)
	var sum part
	for range times {
		sum = part{periods: sum.periods[:0], rises: sum.rises[:0], falls: sum.falls[:0]}
		for range b.parts {
			sum.add(&b.parts[rng.IntN(len(b.parts))])
		}
		for f := range values {
			values[f] = append(values[f], sum.figure(Figure(f)))
		}
	}
	for f := range out {
		out[f] = stats.SD(values[f])
	}
	return out
}
