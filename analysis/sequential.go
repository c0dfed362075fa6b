package analysis

import (
	"math"
	"time"

	"pushback/analysis/limits"
	"pushback/analysis/stats"
)

// noises is how the trims of both banks scatter at rest before the moment t. Soon after
// a force there is little rest to look at: what was known before that force still holds.
func (w *Watcher) noises(t, block float64) (own, other noise) {
	from := max(t-restForTest, w.restFrom)
	own, other = w.noiseBefore(&w.trim, from, t, block), w.noiseBefore(&w.otherTrim, from, t, block)
	if n := len(w.forces); n > 0 {
		old := w.forces[n-1]
		later := func(now, then noise) noise {
			if then.n > now.n {
				then.last = 0
				if now.n > 0 {
					then.last = now.mean + now.last - then.mean
				}
				return then
			}
			return now
		}
		own, other = later(own, old.own.climb.noise), later(other, old.other.climb.noise)
	}
	return own, other
}

// The answer of the loop is found by a sequential test. Trim at rest is not noise: it
// hunts, at the period of the sensor's switching, and it drifts. So readings are averaged
// over half a period, what one such block says about the next is taken out, and only what
// is left is summed: values that are close to independent, for which the chance of a
// false alarm is known.
const (
	falseAlarm  = 0.001                                  // chance of an alarm in one force while trim goes on as at rest
	longestHold = float64(limits.HoldMost / time.Second) // the force for which that holds
	minBlock    = 0.4                                    // s
	maxBlock    = 2.0
	usualBlock  = 1.0 // where the sensor does not cycle
	restForTest = 60.0
)

// shiftsSought are what the sums look for, standard deviations of a block: a slow loop moves
// little in one block, a fast one much. Each sum has its share of the false alarms (G. Lorden, Annals
// of Mathematical Statistics 42, 1971, has several sums for an unknown shift).
var shiftsSought = [2]float64{1, 2.5}

// noise is how the blocks of one bank's trim scatter at rest.
type noise struct {
	block float64 // s
	n     int     // blocks
	mean  float64 // %, their median
	corr  float64 // what one block says about the next, 0 to 0.9
	sd    float64 // %, of what it does not say, an upper bound: 90 % confidence
	bias  float64 // in sd: how far off the mean may be by chance, 95 % confidence
	last  float64 // the latest block, % from the mean
}

// halfPeriod is half the time of one cycle of the sensor, s.
func (b voltsBase) halfPeriod() float64 {
	if !b.switching() {
		return usualBlock
	}
	return min(max((b.lean.mid+b.rich.mid)/2, minBlock), maxBlock)
}

// noiseBefore looks at the blocks of trim in [from, to]; long-term trim is taken as at to.
func (w *Watcher) noiseBefore(t *trimStream, from, to, block float64) noise {
	s := noise{block: block}
	means := w.scratchA[:0] // the latest first
	which := w.scratchB[:0]
	var sum float64
	var n int
	at := -1.0
	closeBlock := func() {
		if n > 0 {
			means, which = append(means, sum/float64(n)), append(which, at)
		}
		sum, n = 0, 0
	}
	for i := t.short.From(to) - 1; i >= 0; i-- {
		p := t.short.At(i)
		if p.T() < from {
			break
		}
		if b := math.Floor((to - p.T()) / block); b != at {
			closeBlock()
			at = b
		}
		sum += t.total(p, to)
		n++
	}
	closeBlock()
	w.scratchA, w.scratchB = means, which
	s.n = len(means)
	if s.n < 3 {
		return s
	}
	s.mean = quantile(append(w.scratchC[:0], means...), 0.5)
	for i := range means {
		means[i] -= s.mean
	}
	s.last = means[0]
	around := w.robustSD(means)
	var product, square float64
	for i, d := range means[1:] {
		if which[i+1]-which[i] == 1 {
			d, before := min(max(d, -3*around), 3*around), min(max(means[i], -3*around), 3*around)
			product += d * before
			square += (d*d + before*before) / 2
		}
	}
	if square > 0 {
		r := product / square
		s.corr = min(max(r+(1+3*r)/float64(s.n), 0), 0.9) // the estimate is too low by so much (Kendall, Biometrika 41, 1954)
	}
	news := w.scratchD[:0]
	for i, d := range means[1:] {
		if which[i+1]-which[i] == 1 {
			news = append(news, means[i]-s.corr*d)
		}
	}
	w.scratchD = news
	if len(news) < 3 {
		s.corr, news = 0, append(news[:0], means...)
	}
	s.sd = w.robustSD(news) * upperSD(len(news))
	s.bias = 1.645 * around / s.sd * math.Sqrt((1-s.corr*s.corr)/float64(s.n))
	return s
}

// robustSD is the standard deviation of deviations that are clipped at three times their
// median, so that a purge or a fan does not spoil it (P. J. Huber, Robust Statistics,
// 1981, one step from the median deviation). Data in whole counts hide what is smaller: a
// count's own scatter is added.
func (w *Watcher) robustSD(deviations []float64) float64 {
	size := w.scratchC[:0]
	for _, d := range deviations {
		size = append(size, abs(d))
	}
	w.scratchC = size
	clip := 3 * 1.4826 * quantile(size, 0.5)
	sum := 0.0
	for _, d := range size {
		d = min(d, clip)
		sum += d * d
	}
	return math.Sqrt(sum/float64(len(size)-1) + trimCount*trimCount/12)
}

// upperSD is by how much the standard deviation of n values may be underestimated, with 90 %
// confidence: √((n−1)/χ²), the 10 % point of χ² by Wilson and Hilferty (Proceedings of
// the National Academy of Sciences 17, 1931).
func upperSD(n int) float64 {
	df := float64(n - 1)
	c := 1 - 2/(9*df) - 1.2816*math.Sqrt(2/(9*df))
	return 1 / math.Sqrt(max(c*c*c, 0.05))
}

func (s noise) known() bool { return s.n >= 3 && s.sd > 0 }

// climb tests during a force whether trim has left its hunting, up or down; values are
// mirrored so that an answer is up.
type cusumPair struct {
	noise    noise
	mirror   float64
	began    float64
	at       float64 // the block that is being filled
	filled   float64 // the latest that was closed; -1 is the last of the rest
	sum      float64
	n        int
	last     float64
	up, down [len(shiftsSought)]stats.CUSUM
	most     [2][len(shiftsSought)]float64 // the highest that up and down came to
}

func (c *cusumPair) begin(s noise, mirror, began float64) {
	*c = cusumPair{noise: s, mirror: mirror, began: began, filled: -1, last: mirror * s.last}
	if s.known() {
		blocks := int(math.Ceil(longestHold / s.block))
		for i, shift := range shiftsSought {
			h := stats.AlarmLimit(shift/2, blocks, falseAlarm/float64(len(shiftsSought)))
			c.up[i] = stats.CUSUM{K: shift/2 + s.bias, H: h}
			c.down[i] = c.up[i]
		}
	}
}

// add takes a reading of total trim, mirrored, at time t.
func (c *cusumPair) add(t, u float64) {
	if !c.noise.known() {
		return
	}
	b := max(0, math.Floor((t-c.began)/c.noise.block))
	if b != c.at {
		c.close()
		c.at = b
	}
	c.sum += u
	c.n++
}

// close takes the block that was being filled into the sums.
func (c *cusumPair) close() {
	if c.n == 0 {
		return
	}
	s := &c.noise
	from := c.sum/float64(c.n) - c.mirror*s.mean
	// Over a gap of several blocks less is known of this one from the last that was read.
	keeps, wider := s.corr, 1.0
	if gap := c.at - c.filled; gap > 1 {
		keeps = math.Pow(s.corr, gap)
		wider = math.Sqrt((1 - keeps*keeps) / (1 - s.corr*s.corr))
	}
	news := (from - keeps*c.last) / (s.sd * wider)
	for i := range c.up {
		c.up[i].Add(news)
		c.down[i].Add(-news)
		c.most[0][i], c.most[1][i] = max(c.most[0][i], c.up[i].Sum), max(c.most[1][i], c.down[i].Sum)
	}
	c.last, c.filled = from, c.at
	c.sum, c.n = 0, 0
}

// rises reports whether trim has left its hunting upward, falls downward. Where there
// was no rest to compare with, both hold: then only the other conditions count.
func (c *cusumPair) rises() bool { return !c.noise.known() || c.up[0].Alarm() || c.up[1].Alarm() }

func (c *cusumPair) falls() bool { return !c.noise.known() || c.down[0].Alarm() || c.down[1].Alarm() }
