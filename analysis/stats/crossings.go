package stats

import "math"

// Crossings counts how often a sensor's voltage changes side, and what tells whether its readings can show that: one that is read seldom,
// or whose reading is refreshed seldom, folds quick switching into slow. The zero value has read nothing.
type Crossings struct {
	Changes int // of side, as they were read

	stays, n, fresh, passing int // readings that stayed on their side; all; that told something new; that came to the middle
	last                     float64
}

// Read takes a reading, V, and whether it is on another side than the one before; known: both are on a side.
func (c *Crossings) Read(volts float64, changed, known bool) {
	between := func(v float64) bool { return v > middleFrom && v < middleTo }
	if c.n == 0 || math.Abs(volts-c.last) > sameReading {
		c.fresh++
	}
	if between(volts) && (c.n == 0 || !between(c.last)) { // a sensor that lies there passes nothing
		c.passing++
	}
	c.n, c.last = c.n+1, volts
	switch {
	case known && changed:
		c.Changes++
	case known:
		c.stays++
	}
}

const (
	middleFrom, middleTo = 0.30, 0.60 // V: the way through the middle, as its time is told
	// aliased is the share of readings that change side beyond which what was seen is a fold of what happened (our own, from simulation):
	// one reading then tells almost nothing of the next.
	aliased = 0.35
	// fastest is how often a sound sensor cycles at the most, Hz (a maker's workshop text: 3 Hz at idle).
	fastest = 3.0
	// slowEdge is what its way through the middle takes at the most, s; a slower one is unusual (common practice, no source).
	slowEdge = 0.15
	// sameReading is less than a count of any voltage's scaling, V: no new reading.
	sameReading = 0.001
)

// Per10s is how many changes of side there are in 10 s, of readings over so many seconds.
//
// Special cases are: NaN where that cannot be told: nothing read, or for less than 5 s; every third reading or more changes side; or new readings come too far
// apart for the quickest cycle and more of them come to the middle than the changes that were seen put there, once in 100 by chance
// (Poisson's law, by its normal limit).
func (c *Crossings) Per10s(seconds float64) float64 {
	changes := float64(c.Changes)
	if c.n == 0 || seconds < 5 || changes > 0 && changes >= aliased*(changes+float64(c.stays)) {
		return math.NaN()
	}
	refresh := float64(c.fresh) / seconds
	expected := max(1, changes) * slowEdge * refresh
	if refresh < 2*fastest && float64(c.passing) > expected+2.33*math.Sqrt(expected)+1 {
		return math.NaN()
	}
	return 10 * changes / seconds
}
