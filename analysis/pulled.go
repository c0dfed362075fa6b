package analysis

import (
	"math"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// pulledBlock is in how long a stretch the spread of the readings is taken, s.
const pulledBlock = 2.0

// pulled reports whether the readings swing less, by far, than at rest: somebody has hold of the wire, but another source works against
// theirs (a sensor whose branch is closed, a poor contact), and the loop brings the middle back to where it was. So an input that is pulled is not dead.
// The logarithms of the spread in blocks are compared by Student's t, of which every other block counts, since those in a row are alike.
func pulled(s *recent.Series, rest, from, until, cycle float64) bool {
	block := max(pulledBlock, cycle)
	a, b := spreads(s, rest, from-sayNear, block), spreads(s, from, until, block)
	if len(a) < 4 || len(b) < 3 {
		return false
	}
	na, nb := float64(len(a))/2, float64(len(b))/2
	sa, sb := stats.SD(a), stats.SD(b)
	df := na + nb
	sd := max(math.Sqrt((na*sa*sa+nb*sb*sb)/df), 0.3) // such blocks of one car differ by a third at the least
	less := mean(a) - mean(b)
	return less > math.Ln2 && stats.StudentP(less/(sd*math.Sqrt(1/na+1/nb)), df) < 2*byChance
}

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
