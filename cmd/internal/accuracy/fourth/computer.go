package fourth

import "math"

// inputSpec is one sensor input of the computer, with its harness.
type inputSpec struct {
	bias, ohms float64 // what the input reads by itself, V, and through what
	rc         float64 // s
	raised     float64 // the sensors' return over the computer's ground, V
	top        float64 // the highest voltage that is told
	stuck      float64 // V whatever the wire has; NaN: it reads
	open       bool    // the harness is open on the computer's side
}

// touch is what the technician does to the wire at the sensor's connector.
type touch struct {
	on     bool    // something is joined to the wire
	volts  float64 // over the return
	ohms   float64
	branch bool // the sensor is joined
}

// read is the voltage at the input, V over the computer's ground.
func (in inputSpec) read(emf, cellOhms float64, t touch) float64 {
	if !math.IsNaN(in.stuck) {
		return in.stuck
	}
	v, g := in.bias/in.ohms, 1/in.ohms
	if !in.open {
		if t.branch && !math.IsInf(cellOhms, 1) {
			v, g = v+(emf+in.raised)/cellOhms, g+1/cellOhms
		}
		if t.on {
			v, g = v+(t.volts+in.raised)/t.ohms, g+1/t.ohms
		}
	}
	return max(0, v/g)
}

// What a computer may do that is no fault of the loop.
const (
	quirkNone   = ""
	quirkStatus = "lets go, status 10" // closed loop with a fault: trim goes to zero
	quirkTrim   = "gives trim up"      // that, with no word in the status
	quirkRich   = "opens after rich"   // open loop after 10 s rich (makers' manuals, 1990 to 1998)
	quirkPause  = "pauses"             // trim stands while something else learns
)

// computerSpec is what a computer is like.
type computerSpec struct {
	loops       [2]loopSpec
	learnTau    float64    // of long-term trim, s
	learnLimit  [2]float64 // most that is learned as addition, as cut
	refresh     float64    // of what the port tells, s
	average     float64    // lag of the voltage that is told, s
	quirk       string
	quirkAfter  float64    // s on one side until it lets go
	pause       [2]float64 // from, to, of quirkPause
	biasMonitor bool       // open loop after 15 s near the bias level (a maker's monitor)
	single      bool       // one status for both banks
	crossed     string     // "", harness or command
	frozen      bool       // trim never moves
	neverAdds   bool
	neverCuts   bool
	cold        bool
}

// told is what the port tells of a bank.
type told struct{ volts, rear, short, long float64 }

// computer is that at work.
type computer struct {
	computerSpec
	banks   int
	loops   [2]*loop
	learned [2][9]float64
	mean    [2]float64 // of short-term trim, lagged
	short   [2]float64
	long    [2]float64
	side    [2]float64 // s that the reading has been on one side; negative: lean
	near    float64    // s near the bias level
	letGo   [2]bool
	status  float64
	closing float64 // s until the loop closes again
	told    [2]told
	slow    [2]float64 // volts, averaged
	at      point      // as told
	due     float64
}

func newComputer(s computerSpec, banks int, learned [2]float64) *computer {
	c := &computer{computerSpec: s, banks: banks, status: 2}
	for b := range banks {
		c.loops[b] = newLoop(s.loops[b])
		for i := range c.learned[b] {
			c.learned[b][i] = learned[b]
		}
		c.long[b] = learned[b]
	}
	if s.cold {
		c.status = 1
	}
	return c
}

// step reads the inputs and makes the trims.
func (c *computer) step(t float64, p point, volts, rear [2]float64, open float64) {
	c.judgeStatus(p, volts, open)
	for b := range c.banks {
		from := b
		if c.crossed == "command" {
			from = 1 - b
		}
		l := c.loops[b]
		l.watch(volts[from])
		c.sideOf(b, volts[from], l.level)
		c.trim(b, t, p)
	}
	if c.due -= dt; c.due <= 0 {
		c.due += c.refresh
		c.tell(p, rear)
	}
	for b := range c.banks {
		c.slow[b] = lag(c.slow[b], volts[b], c.average)
	}
}

// sideOf counts how long a reading has been on one side.
func (c *computer) sideOf(b int, volts, level float64) {
	switch {
	case volts > level && c.side[b] > 0:
		c.side[b] += dt
	case volts <= level && c.side[b] < 0:
		c.side[b] -= dt
	case volts > level:
		c.side[b] = dt
	default:
		c.side[b] = -dt
	}
	stay := math.Abs(c.side[b])
	switch c.quirk {
	case quirkStatus, quirkTrim:
		c.letGo[b] = stay > c.quirkAfter || c.letGo[b] && stay > 1
	case quirkRich:
		c.letGo[b] = c.side[b] > 10
	}
}

func (c *computer) judgeStatus(p point, volts [2]float64, open float64) {
	if open > 0.3 && open < 0.6 && math.Abs(volts[0]-open) < 0.03 {
		c.near += dt
	} else {
		c.near = 0
	}
	switch {
	case c.cold:
		c.status = 1
	case p.cut || p.rich > 0:
		c.status, c.closing = 4, 1
	case c.biasMonitor && c.near > 15:
		c.status, c.closing = 8, 2
	case c.quirk == quirkRich && (c.letGo[0] || c.letGo[1]):
		c.status, c.closing = 8, 0.5
	case c.closing > 0:
		c.closing -= dt
	case c.quirk == quirkStatus && (c.letGo[0] || c.letGo[1]):
		c.status = 10
	default:
		c.status = 2
	}
}

// trim makes bank b's short- and long-term trim.
func (c *computer) trim(b int, t float64, p point) {
	l := c.loops[b]
	if c.status != 2 && c.status != 10 {
		l.reset()
		c.short[b] = lag(c.short[b], 0, 0.3)
		if c.cold {
			c.long[b] = 0
		}
		return
	}
	switch {
	case c.frozen, c.quirk == quirkPause && t >= c.pause[0] && t < c.pause[1]:
	case c.letGo[b]:
		l.reset()
		c.short[b] = lag(c.short[b], 0, 0.3)
	default:
		l.step(p.rpm)
		if c.neverAdds {
			l.trim, l.sum = min(l.trim, 0.005), min(l.sum, 0.005)
		}
		if c.neverCuts {
			l.trim, l.sum = max(l.trim, -0.005), max(l.sum, -0.005)
		}
		c.short[b] = l.trim
	}
	learned := &c.learned[b][cellOf(p)]
	c.mean[b] = lag(c.mean[b], c.short[b], 5)
	if m := c.mean[b]; math.Abs(m) > 0.01 && p.purge == 0 && !c.frozen && !c.letGo[b] {
		if m > 0 && c.neverAdds || m < 0 && c.neverCuts {
			m = 0
		}
		*learned = clamp(*learned+m*dt/c.learnTau, -c.learnLimit[1], c.learnLimit[0])
	}
	c.long[b] = *learned
}

// cellOf is the learning cell of a point: three of speed by three of load.
func cellOf(p point) int {
	r, l := 0, 0
	switch {
	case p.rpm > 2200:
		r = 2
	case p.rpm > 1200:
		r = 1
	}
	switch {
	case p.load > 0.55:
		l = 2
	case p.load > 0.33:
		l = 1
	}
	return 3*r + l
}

func (c *computer) tell(p point, rear [2]float64) {
	for b := range c.banks {
		c.told[b] = told{c.slow[b], rear[b], c.short[b], c.long[b]}
	}
	c.at = p
}

// total is what bank b's fuel is multiplied with.
func (c *computer) total(b int) float64 { return (1 + c.short[b]) * (1 + c.long[b]) }
