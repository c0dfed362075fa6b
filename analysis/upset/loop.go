package upset

import "math"

// Slot is what was read in one [Step].
type Slot struct {
	State State
	Trim  float64 // %, total
	Off   bool    // it tells nothing of rest: a force is running, or the loop was not ready
}

// State is what the reading said on average.
type State int8

// States of a slot; None was read in that of a slow port.
const (
	Lean State = iota - 1
	Between
	Rich
	None
)

const (
	Step   = 0.5  // s, of a slot
	maxLag = 6    // slots from trim to reading: 3 s, beyond the slowest engine, sensor and port together
	lapse  = 0.02 // of all slots say anything (bad reading, a misfire)
)

// tails is Φ(x) for x = −8 … 8 by 0.05.
var tails [321]float64

func phi(x float64) float64 { return tails[min(max(int(x*20+160.5), 0), 320)] }

// loop is how one loop's reading goes by its trim.
type loop struct {
	lag     int
	gain    float64 // 1; 0: trim does not reach the mixture
	balance float64 // % of trim at which the mixture is balanced
	sigma   float64 // %, of the noise
	mid     float64 // half the band in which the reading lies between, in sigmas
	law     *[3][161]float64
	fit     float64 // log-likelihood of what was read at rest, with what is known of loops
}

// p is the probability of a state where the mixture lies x per cent on the rich side of balance.
func (l *loop) p(s State, x float64) float64 {
	x /= l.sigma
	rich, lean := phi(x-l.mid), phi(-x-l.mid)
	switch s {
	case Rich:
		return (1-lapse)*rich + lapse/3
	case Lean:
		return (1-lapse)*lean + lapse/3
	}
	return (1-lapse)*max(1-rich-lean, 0) + lapse/3
}

// at is how far on the rich side of balance slot i is by its trim.
func (l *loop) at(s []Slot, i int) float64 { return l.gain*s[i-l.lag].Trim - l.balance }

// loops are what a loop may be like. Rest alone may not tell: of one that hunts little, the reading lies between all the time,
// whatever the band. So the best of each class of bands is kept, and of trim that reaches nothing.
type loops struct {
	each   [undelivered + 1]loop
	n      int     // slots of rest
	weight float64 // of a slot's evidence, as those on end are not independent
}

// class is that of a band of so many per cent.
func class(band float64) int {
	switch {
	case band < 0.6:
		return 0
	case band < 1.6:
		return 1
	}
	return 2
}

// undelivered is the index of the loop whose trim does not reach the mixture.
const undelivered = 3

// What is sought, and what is known of loops before (common practice, no source): the noise is about 1.2 %, the band 0.8 %, the lag 0.75 s.
var (
	sigmas = [...]float64{0.5, 0.8, 1.3, 2.2, 3.6, 6}
	mids   = [...]float64{0.1, 0.4, 0.9, 1.6, 2.4}
	laws   [len(mids)][3][161]float64 // logarithms of p for x/sigma = −8 … 8 by 0.1
)

const (
	bin      = 0.78 // %, a count of trim
	bins     = 81
	tempered = 0.3 // slots on end are taken for so much less evidence while a loop is fitted

	// Trim that does not reach the mixture wanders: odds of such a car where it does so at rest by more than so many per cent, as a
	// standard deviation, and where it stays.
	wander    = 1.3
	wanderers = 0.1
	resters   = 0.001
)

func init() {
	for i := range tails {
		tails[i] = 0.5 * math.Erfc(-float64(i-160)/20/math.Sqrt2)
	}
	for m, mid := range mids {
		for s := range 3 {
			for i := range laws[m][s] {
				laws[m][s][i] = math.Log((&loop{sigma: 1, mid: mid}).p(State(s-1), float64(i-80)/10))
			}
		}
	}
}

func known(sigma, mid float64) float64 {
	z, y := math.Log(sigma/1.2)/0.8, math.Log(mid*sigma/0.8)/0.8
	return -z*z/2 - y*y/2
}

// table is how often each state was read, by trim in counts from its mean.
type table struct {
	count  [bins][3]float64
	mean   float64
	square float64 // the variance of trim
	lo, hi int
	n      int
}

func (t *table) fill(s []Slot, lag int) {
	*t = table{lo: bins}
	sum, square := 0.0, 0.0
	for i := lag; i < len(s); i++ {
		if u := s[i-lag].Trim; !s[i].Off && s[i].State != None {
			sum, square = sum+u, square+u*u
			t.n++
		}
	}
	if t.n == 0 {
		return
	}
	t.mean = sum / float64(t.n)
	t.square = square/float64(t.n) - t.mean*t.mean
	for i := lag; i < len(s); i++ {
		if !s[i].Off && s[i].State != None {
			b := min(max(int(math.Round((s[i-lag].Trim-t.mean)/bin))+bins/2, 0), bins-1)
			t.count[b][s[i].State+1]++
			t.lo, t.hi = min(t.lo, b), max(t.hi, b)
		}
	}
}

// like is the log-likelihood of the table where the mixture is balanced off per cent above the mean of trim.
func (t *table) like(sigma float64, m int, gain, off float64) float64 {
	sum := 0.0
	for b := t.lo; b <= t.hi; b++ {
		x := min(max(int((gain*float64(b-bins/2)*bin-off)/sigma*10+80.5), 0), 160)
		for s := range 3 {
			if k := t.count[b][s]; k > 0 {
				sum += k * laws[m][s][x]
			}
		}
	}
	return sum
}

// fit estimates loops from rest.
func fit(s []Slot) (best loops) {
	for i := range best.each {
		best.each[i].fit = math.Inf(-1)
	}
	var t table
	for lag := 0; lag <= maxLag; lag++ {
		if t.fill(s, lag); t.n == 0 {
			continue
		}
		best.n = max(best.n, t.n)
		for _, sigma := range sigmas {
			for m, mid := range mids {
				prior := (known(sigma, mid) - 0.3*math.Abs(float64(lag)-1.5)) / tempered
				for k := -4; k <= 4; k++ {
					off := float64(k) * max(sigma, 1) * 0.4
					x := prior + t.like(sigma, m, 1, off)
					if l := &best.each[class(mid*sigma)]; x > l.fit {
						*l = loop{lag: lag, gain: 1, sigma: sigma, mid: mid, law: &laws[m], balance: t.mean + off, fit: x}
					}
				}
				if lag == 0 {
					best.tryUndelivered(&t, sigma, m)
				}
			}
		}
	}
	top := &best.each[0]
	for i := range best.each {
		if l := &best.each[i]; l.fit > top.fit {
			top = l
		}
	}
	best.weight = top.independent(s)
	return best
}

func (l *loops) tryUndelivered(t *table, sigma float64, m int) {
	odds := wanderers
	if t.square < wander*wander {
		odds = resters
	}
	prior := (known(sigma, mids[m]) + math.Log(odds)) / tempered
	for k := -20; k <= 20; k++ {
		off := float64(k) * 0.2 * sigma
		if x := prior + t.like(sigma, m, 0, off); x > l.each[undelivered].fit {
			l.each[undelivered] = loop{sigma: sigma, mid: mids[m], law: &laws[m], balance: off, fit: x}
		}
	}
}

// ln is the logarithm of the probability of a state where the mixture lies x per cent on the rich side of balance.
func (l *loop) ln(s State, x float64) float64 {
	return l.law[s+1][min(max(int(x/l.sigma*10+80.5), 0), 160)]
}

// independent is how much of a slot's evidence is its own, by the correlation of what the loop leaves unexplained: (1 − ρ)/(1 + ρ), as for
// the mean of a process of first order; ρ is taken for a half before anything is read, as by four slots.
func (l *loop) independent(s []Slot) float64 {
	const usual, slots = 0.5, 4
	var product, square, before float64
	has := false
	for i := l.lag; i < len(s); i++ {
		if s[i].Off || s[i].State == None {
			has = false
			continue
		}
		x := l.at(s, i) / l.sigma
		left := float64(s[i].State) - (phi(x-l.mid) - phi(-x-l.mid))
		if has {
			product += before * left
		}
		square += left * left
		before, has = left, true
	}
	rho := min(max((product+usual*slots)/(square+slots), 0.1), 0.95)
	return (1 - rho) / (1 + rho)
}
