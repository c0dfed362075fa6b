package third

import (
	"math"
	"math/rand/v2"
	"time"

	"pushback/obd"
)

// A Port is how a car's values come into a recording: refreshed now and then, read at a rate
// that is not quite even, one value a row on a slow bus and several on a fast one, with gaps.
type Port struct {
	Rate     float64   // readings/s of the first of Fast
	Refresh  []float64 // s between two refreshes of each of Fast; what is slower is refreshed when it is read
	Together bool      // several values a row
	Fast     []string  // read each round, the watched sensor first
	Slow     []string  // read in turn
	Gaps     [][2]float64
	Records  []obd.Record
	Reads    []float64 // when the watched sensor was read, s

	r     *rand.Rand
	shown []float64
	fresh []float64
	next  float64
	round int
	part  int
}

// NewPort returns a port whose chance comes from r.
func NewPort(r *rand.Rand, rate float64, together bool, fast, slow []string) *Port {
	p := &Port{Rate: rate, Together: together, Fast: fast, Slow: slow, r: r}
	for range fast {
		p.Refresh = append(p.Refresh, 0.1+0.9*math.Pow(r.Float64(), 2))
	}
	p.shown, p.fresh = make([]float64, len(fast)), make([]float64, len(fast))
	return p
}

// Mark puts down what the technician says at t, s.
func (p *Port) Mark(t float64, kind obd.MarkKind) {
	p.add(t, obd.Record{Mark: &obd.Mark{Kind: kind}})
}

func (p *Port) add(t float64, rec obd.Record) {
	rec.Seq, rec.At = int64(len(p.Records)), time.Duration(math.Round(t*1e6))*time.Microsecond
	p.Records = append(p.Records, rec)
}

// Step lets the port read what is due at t, s, of the car whose values value tells.
func (p *Port) Step(t float64, value func(name string) float64) {
	for i, name := range p.Fast {
		if t >= p.fresh[i] {
			p.shown[i] = value(name)
			p.fresh[i] = max(p.fresh[i]+p.Refresh[i], t)
		}
	}
	if t < p.next {
		return
	}
	rows := 1
	if !p.Together {
		rows = len(p.Fast)
		if len(p.Slow) > 0 && p.round%2 == 1 {
			rows++
		}
	}
	p.next = t + (0.75+0.5*p.r.Float64())/p.Rate/float64(rows)
	for _, g := range p.Gaps {
		if t > g[0] && t < g[1] {
			return
		}
	}
	row := &obd.Row{}
	slow := func() {
		name := p.Slow[p.round/2%len(p.Slow)]
		row.Names, row.Values = append(row.Names, name), append(row.Values, value(name))
	}
	switch {
	case p.Together:
		p.Reads = append(p.Reads, t)
		row.Names, row.Values = append(row.Names, p.Fast...), append(row.Values, p.shown...)
		if len(p.Slow) > 0 && (p.round%2 == 1 || p.Rate < 2) {
			slow()
		}
	case p.part < len(p.Fast):
		if p.part == 0 {
			p.Reads = append(p.Reads, t)
		}
		row.Names, row.Values = []string{p.Fast[p.part]}, []float64{p.shown[p.part]}
	default:
		slow()
	}
	p.add(t, obd.Record{Row: row})
	if p.part++; p.part >= rows || p.Together {
		p.part, p.round = 0, p.round+1
	}
}

// Count rounds v to the counts of size q that a byte tells, within lo and hi.
func Count(v, q, lo, hi float64) float64 { return min(hi, max(lo, math.Round(v/q)*q)) }

// Trim is a trim, a fraction, as the port tells it, in %.
func Trim(v float64) float64 { return Count(100*v, 100.0/128, -100, 100*127.0/128) }
