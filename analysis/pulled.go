package analysis

import (
	"math"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// pulledBlock is in how long a stretch the spread of the readings is taken, s.
const pulledBlock = 2.0

// pulled is how likely it is by chance that the readings swing as much less than at rest as they do. One that swings less is pulled: somebody
// has hold of the wire, but another source works against theirs (a sensor whose branch is closed, a poor contact), and the loop brings the
// middle back to where it was. So an input that is pulled is not dead.
// The logarithms of the spread in blocks are compared by Student's t, of which every other block counts, since those in a row are alike:
// those of all that was said since the wire was known to be let alone, and up to h.
func (w *Watcher) pulled(h *hint, alone, cycle float64) float64 {
	s, block := &w.volts.volts, max(pulledBlock, cycle)
	a, b := spreads(s, max(alone-baselineFor, w.restFrom), alone-sayNear, block), []float64(nil)
	for _, x := range w.hints {
		if x.at >= alone && x.at <= h.at {
			b = append(b, spreads(s, x.from, x.until, block)...)
		}
	}
	return lessSpread(a, b)
}

// lessSpread is the same of the logarithms of the spreads at rest, a, and held, b.
func lessSpread(a, b []float64) float64 {
	if len(a) < 4 || len(b) < 3 {
		return 1
	}
	na, nb := float64(len(a))/2, float64(len(b))/2
	sa, sb := stats.SD(a), stats.SD(b)
	df := na + nb
	sd := max(math.Sqrt((na*sa*sa+nb*sb*sb)/df), 0.3) // such blocks of one car differ by a third at the least
	less := mean(a) - mean(b)
	if less <= 0 {
		return 1
	}
	return stats.StudentP(less/(sd*math.Sqrt(1/na+1/nb)), df)
}

// asBefore is how likely that must be by chance for a reading to be said to go on as before: one that a weak hold has pulled must not be
// taken for a dead input.
const asBefore = 0.1

// spreads are the logarithms of the standard deviations in blocks, of five readings at the least, V.
func spreads(s *recent.Series, from, until, block float64) (out []float64) {
	for t := from; t+block <= until; t += block {
		if v := s.Values(nil, t, t+block); len(v) >= 5 {
			out = append(out, math.Log(max(stats.SD(v), trembles)))
		}
	}
	return out
}

// trembles is the spread under which a reading counts as lying still, V: it is told in counts of 5 mV.
const trembles = 0.005

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
