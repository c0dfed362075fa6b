package upset

import "math"

// Change is a disturbance that came and went.
type Change struct {
	Side       State
	Begin, End float64 // s
	Size       float64 // %
	// Hand and Own are the logarithms of how much likelier the readings are with a change than without: one that a hand makes, and one that a car
	// makes by itself; each over all that it may be, per second in which it may begin. Minus infinity: it was not weighed, or stands out too little.
	Hand, Own  float64
	begin, end int // slots
	best       float64
}

// Evidence is the logarithm of how much likelier it is that a hand made the change than that the car did or that there was none, where
// hands make so many a second, and the car: any, and again ones like those before, see [Change.Like].
func (c *Change) Evidence(hands, own, again float64) float64 {
	return math.Log(hands) + c.Hand - add(0, add(math.Log(own)+c.Own, math.Log(again)+c.Hand))
}

// Like is how much likelier c is from what made o, a change that the car made by itself, than from a hand. It comes as sharply as it likes.
func (c *Change) Like(o *Change) float64 {
	if c.Side != o.Side || c.Size == 0 || o.Size == 0 {
		return 0
	}
	long, before := c.End-c.Begin, o.End-o.Begin
	return bell(c.Size, o.Size, alikeSize) * bell(long, before, alikeLength) / (bell(c.Size, usualSize, sizeSpread) * bell(long, usualLength, lengthSpread))
}

// really is by how much readings must be likelier with a change than without, per second, for something to have moved, whatever it was: odds of
// five to one where a car does so once in 200 s.
const really = 7.0

// Real reports whether something moved.
func (c *Change) Real() bool { return c.Own > really }

// add is ln(e^a + e^b).
func add(a, b float64) float64 {
	a, b = max(a, b), min(a, b)
	if !(b > a-30) { // also where both are none
		return a
	}
	return a + math.Log1p(math.Exp(b-a))
}

// bell is the density of a lognormal law.
func bell(x, usual, spread float64) float64 {
	z := math.Log(x/usual) / spread
	return math.Exp(-z*z/2) / (x * spread * math.Sqrt(2*math.Pi))
}

// What changes are like (common practice, no source where none is named). A hose is off or a bottle's valve open within a second, most of them; vapour
// comes with a valve that opens slowly. Vapour and a richer cell add fuel; the air that comes with little vapour is little.
const (
	usualSize    = 7.0  // %, by a hand
	sizeSpread   = 0.55 // of the logarithm
	usualLength  = 13.0 // s
	lengthSpread = 0.45
	ownRich      = 3.5  // %, in the mean, of what a car makes by itself
	ownLean      = 2.0  //
	longest      = 60.0 // the lengths of those are even by ratio, from 1 to so many seconds
	comesBack    = 0.5  // of those do while anybody looks
	alikeSize    = 0.5  // of the logarithm: what a car does again is alike by so much
	alikeLength  = 0.7
)

var (
	sizes  = [...]float64{2, 3, 4, 5, 6.5, 8, 10, 13, 16, 20} // %
	ramps  = [...]int{0, 3, 8, 16}                            // slots that a flank takes
	byHand = [...]float64{0.6, 0.25, 0.1, 0.05}               // of flanks take so long
	byCar  = [...]float64{0.1, 0.2, 0.3, 0.4}
)

const (
	least    = 4    // slots, the shortest change
	leastFit = 3.0  // what stands out by less is no change
	far      = 10.0 // what is less likely by so much than the best is left out of the sums
	maxEnds  = 64
)

// weighing is one change that is weighed by one loop; its room is used again.
type weighing struct {
	none   []float64             // the log-likelihood of each slot without a change
	sums   [len(sizes)][]float64 // with one of each size, beside that, from the first slot on
	loop   *loop
	weight float64
	s      []Slot
	side   float64
	goes   bool // it is one that goes on
}

// ln is what slot i says for a disturbance of d, %.
func (w *weighing) ln(i int, d float64) float64 {
	if i < maxLag || w.s[i].State == None {
		return 0
	}
	return w.weight*w.loop.ln(w.s[i].State, w.loop.at(w.s, i)+d) - w.none[i]
}

// weigh weighs a change of that side which began in slots [b0,b1], by all that the loop may be.
func (l *loops) weigh(s []Slot, side State, b0, b1 int, room *weighing) Change {
	c := Change{Side: side, Hand: math.Inf(-1), Own: math.Inf(-1)}
	top, none, best := math.Inf(-1), math.Inf(-1), math.Inf(-1)
	for i := range l.each {
		top = max(top, l.each[i].fit)
	}
	for i := range l.each {
		like := tempered * (l.each[i].fit - top)
		if like < -far {
			continue
		}
		x := Change{Side: side, Hand: math.Inf(-1), Own: math.Inf(-1), best: math.Inf(-1)}
		like += room.weigh(&x, &l.each[i], l.weight, s, b0, b1)
		none = add(none, like)
		c.Hand, c.Own = add(c.Hand, like+x.Hand), add(c.Own, like+x.Own)
		if like+x.Hand > best {
			best = like + x.Hand
			c.begin, c.end, c.Size = x.begin, x.end, x.Size
		}
	}
	c.Hand -= none
	c.Own -= none
	return c
}

// reaches is how much likelier the slots are by the loops whose trim reaches the mixture than by the one whose does not, a hand having made the change.
func (l *loops) reaches(s []Slot, side State, b0, b1 int, room *weighing) float64 {
	with, fits, without := math.Inf(-1), math.Inf(-1), math.Inf(-1)
	for i := range l.each {
		x := Change{Side: side, Hand: math.Inf(-1), Own: math.Inf(-1), best: math.Inf(-1)}
		like := room.weigh(&x, &l.each[i], l.weight, s, b0, b1)
		if like += x.Hand; i == undelivered {
			without = like
			continue
		}
		fit := tempered * l.each[i].fit
		with, fits = add(with, fit+like), add(fits, fit)
	}
	return with - fits - without
}

// weigh weighs the change by one loop; it returns the log-likelihood of all slots without one.
func (w *weighing) weigh(c *Change, l *loop, weight float64, s []Slot, b0, b1 int) (none float64) {
	n := len(s)
	w.loop, w.s, w.side, w.weight = l, s, float64(c.Side), weight
	w.none = append(w.none[:0], make([]float64, n)...)
	for i := maxLag; i < n; i++ {
		w.none[i] = w.ln(i, 0)
		none += w.none[i]
	}
	b0, b1 = max(b0, maxLag), min(b1, n-1)
	most, over := math.Inf(-1), math.Inf(-1) // of all, and of those that are over
	for k, size := range sizes {
		sum := append(w.sums[k][:0], 0)
		for i := range n {
			sum = append(sum, sum[i]+w.ln(i, w.side*size))
		}
		w.sums[k] = sum
		low := math.Inf(1)
		for u := b0 + least; u <= n; u++ {
			if t := u - least; t <= b1 {
				low = min(low, sum[t])
			}
			most = max(most, sum[u]-low)
			if u < n || w.goes {
				over = max(over, sum[u]-low)
			}
		}
	}
	if over < leastFit {
		return none
	}
	for k := range sizes {
		w.sum(c, k, b0, b1, most-far)
	}
	c.Hand += math.Log(Step)
	c.Own += math.Log(Step)
	return none
}

// flank is what one that is not sharp brings beside one that is, at slot t where a change of d begins or ends: by a hand and by the car.
func (w *weighing) flank(t int, d float64, begins bool) (hand, own float64) {
	hand, own = math.Inf(-1), math.Inf(-1)
	for j, r := range ramps {
		e := 0.0
		for m := 0; m < r && t+m < len(w.s); m++ {
			x := (float64(m) + 0.5) / float64(r)
			if begins {
				e += w.ln(t+m, d*x) - w.ln(t+m, d)
			} else {
				e += w.ln(t+m, d*(1-x))
			}
		}
		hand, own = add(hand, math.Log(byHand[j])+e), add(own, math.Log(byCar[j])+e)
	}
	return hand, own
}

// sum adds up what changes of one size are worth, of those that come near the likeliest.
func (w *weighing) sum(c *Change, k, b0, b1 int, enough float64) {
	sum, n, size := w.sums[k], len(w.s), sizes[k]
	width, own := 1.0, ownRich
	if k > 0 {
		width = size - sizes[k-1]
	}
	if c.Side == Lean {
		own = ownLean
	}
	bySize := math.Log(width * bell(size, usualSize, sizeSpread))
	ownSize := math.Log(width * math.Exp(-size/own) / own)
	low, high := math.Inf(1), math.Inf(-1)
	for t := b0; t <= b1; t++ {
		low = min(low, sum[t])
	}
	var ends [maxEnds]struct {
		at        int
		hand, own float64
	}
	m := 0
	for u := b0 + least; u <= n; u++ {
		if high = max(high, sum[u]); u < n && !w.goes && m < maxEnds && sum[u]-low >= enough {
			ends[m].at = u
			ends[m].hand, ends[m].own = w.flank(u, w.side*size, false)
			m++
		}
	}
	for t := b0; t <= b1; t++ {
		if high-sum[t] < enough {
			continue
		}
		hand, car := w.flank(t, w.side*size, true)
		for _, e := range ends[:m] {
			core := sum[e.at] - sum[t]
			if e.at < t+least || core < enough {
				continue
			}
			secs := float64(e.at-t) * Step
			x := bySize + core + hand + e.hand + math.Log(Step*bell(secs, usualLength, lengthSpread))
			if x > c.best {
				c.best, c.begin, c.end, c.Size = x, t, e.at, size
			}
			c.Hand = add(c.Hand, x)
			c.Own = add(c.Own, ownSize+core+car+e.own+math.Log(comesBack*Step/(math.Log(longest)*secs)))
		}
		rest := sum[n] - sum[t]
		if secs := float64(n-t) * Step; w.goes && n >= t+least {
			x := bySize + rest + hand + math.Log(phi(math.Log(usualLength/secs)/lengthSpread))
			if x > c.best {
				c.best, c.begin, c.end, c.Size = x, t, n, size
			}
			c.Hand = add(c.Hand, x)
			rest += math.Log(1 + comesBack/(1-comesBack)*max(0, math.Log(longest/secs)/math.Log(longest)))
		}
		c.Own = add(c.Own, ownSize+rest+car+math.Log(1-comesBack))
	}
}
