package fourth

import "math"

// pumpTable is a sensor maker's published table: pump current in mA by λ.
var pumpTable = [][2]float64{{0.65, -2.000}, {0.70, -1.602}, {0.75, -1.243}, {0.80, -0.927}, {0.82, -0.800}, {0.85, -0.652}, {0.90, -0.405}, {0.95, -0.183}, {0.97, -0.106},
	{0.99, -0.040}, {1.003, 0}, {1.18, 0.329}, {1.43, 0.671}, {1.70, 0.938}, {1.99, 1.150}}

// pumpCurrent is the current at λ, mA, along the table.
func pumpCurrent(lambda float64) float64 {
	t := pumpTable
	if lambda <= t[0][0] {
		return t[0][1]
	}
	for i := 1; i < len(t); i++ {
		if lambda <= t[i][0] {
			x := (lambda - t[i-1][0]) / (t[i][0] - t[i-1][0])
			return t[i-1][1] + x*(t[i][1]-t[i-1][1])
		}
	}
	return t[len(t)-1][1]
}

// wideSpec is a wide-range sensor. Pairs are towards rich, then towards lean.
type wideSpec struct {
	gain, offset float64    // of φ − 1 as it is measured
	tau          [2]float64 // s
	delay        [2]float64 // s
	open         bool       // no pump current flows: λ 1.000 and 0 mA whatever the gas is
	ceiling      float64    // of the λ that is told
	noise        drifting
}

// wideCell is that at work.
type wideCell struct {
	wideSpec
	late  [2]pipe
	phi   float64 // φ that the cell has reached
	shown float64 // φ as it is measured
}

func newWideCell(s wideSpec) *wideCell {
	return &wideCell{wideSpec: s, late: [2]pipe{{last: 1}, {last: 1}}, phi: 1, shown: 1}
}

// step follows the gas, each way with its own delay and lag; where the two ways disagree
// what is newer holds.
func (w *wideCell) step(src source, phi float64) {
	up, down := w.late[0].step(dt, phi, w.delay[0]), w.late[1].step(dt, phi, w.delay[1])
	rises, falls := up > w.phi, down < w.phi
	if rises && falls {
		rises = w.delay[0] < w.delay[1]
		falls = !rises
	}
	switch {
	case rises:
		w.phi = lag(w.phi, up, w.tau[0])
	case falls:
		w.phi = lag(w.phi, down, w.tau[1])
	}
	w.shown = 1
	if !w.open {
		w.shown = max(1/w.ceiling, 1+w.gain*(w.phi-1)+w.offset+w.noise.step(src))
	}
}

// wideLoop is proportional and integral control of the measured ratio, with a target that the
// computer sways, as is usual to keep the catalyst awake.
type wideLoop struct {
	kp, ki     float64
	limit      float64
	sway       float64 // of the target, as a fraction
	swayPeriod float64 // s
	frozen     bool
	cold       bool
	learnTau   float64
	rearTau    float64 // s of the trim by the sensor behind the catalyst; 0: none

	clock                 float64 // s
	sum, trim, long, rear float64
	mean                  float64
	target                float64 // φ
	status                float64
	closing               float64
}

// step makes trim of the measured φ, and of what the rear sensor says.
func (l *wideLoop) step(p point, shown, rearVolts float64) {
	l.target = 1
	if l.clock += dt; math.Mod(l.clock, l.swayPeriod) < l.swayPeriod/2 {
		l.target += l.sway
	} else {
		l.target -= l.sway
	}
	if l.rearTau > 0 {
		l.rear = clamp(l.rear+clamp((0.65-rearVolts)/0.4, -1, 1)*0.03*dt/l.rearTau, -0.03, 0.03)
		l.target += l.rear
	}
	switch {
	case l.cold:
		l.status, l.target = 1, 1.08
	case p.cut:
		l.status, l.closing = 4, 1
	case l.closing > 0:
		l.closing -= dt
	default:
		l.status = 2
	}
	if l.status != 2 || l.frozen {
		if !l.frozen {
			l.trim = lag(l.trim, 0, 0.2)
			l.sum = 0
		}
		return
	}
	e := l.target - shown
	l.sum = clamp(l.sum+l.ki*e*dt, -l.limit, l.limit)
	l.trim = clamp(l.sum+l.kp*e, -l.limit, l.limit)
	l.mean = lag(l.mean, l.trim, 6)
	if math.Abs(l.mean) > 0.01 && p.purge == 0 {
		l.long = clamp(l.long+l.mean*dt/l.learnTau, -0.25, 0.25)
	}
}

// fuel is what the base quantity is multiplied with: the target's own step is fed forward.
func (l *wideLoop) fuel() float64 { return (1 + l.trim) * (1 + l.long) * l.target }

// feed is one move of the mixture: propane, induced lean, or a lifted throttle.
type feed struct {
	side       string
	begin, end float64
	size       float64 // of φ
	ramp       float64 // s that the valve takes
	said       bool
}

// moveSeen is what really happened in a feed.
type moveSeen struct {
	feed
	rest     [2]float64 // φ at the sensor and total trim before it
	gas      float64    // how far φ at the sensor went its way at most
	shown    float64    // and what the sensor made of it
	trim     float64    // how far trim went against it at the end
	rebound  float64    // how far φ went the other way in the 4 s after it
	rearSays bool       // the sensor behind the catalyst crossed to its side
}

// wideTest is a car with a wide-range sensor, and all that happens to it.
type wideTest struct {
	seed    uint64
	fault   string
	engine  engineSpec
	cell    wideSpec
	rear    cellSpec
	loop    wideLoop
	metered bool // leaking air is metered: a car that computes its air from pressure
	feeds   []feed
	by      string
	marks   string
	coolant float64
	refresh float64
	port    portSpec
	length  float64
}

// wideCar is that at work.
type wideCar struct {
	*wideTest
	src    source
	t      float64
	drive  *driver
	engine *bank
	cell   *wideCell
	rear   *cell
	loop   wideLoop
	now    point
	phi    float64
	rearV  float64
	told   map[string]float64
	due    float64
}

func newWideCar(w *wideTest, d *driver) *wideCar {
	return &wideCar{wideTest: w, src: newSource(w.seed, 0x77636172), drive: d, engine: newBank(w.engine), cell: newWideCell(w.cell), rear: newCell(w.rear), loop: w.loop}
}

func (c *wideCar) step() {
	c.t += dt
	c.now = c.drive.step(c.src, c.t)
	air := c.engine.airflow(c.now)
	c.engine.unmetered = c.wideTest.engine.unmetered
	for _, f := range c.feeds {
		x := (spell{f.begin, f.end + f.ramp, f.size}).shape(c.t, f.ramp)
		switch {
		case c.by == "fuelcut":
		case f.side == "rich":
			c.now.purge += x
		case c.metered:
			c.engine.unmetered += 0.08 * x * air
		default:
			c.engine.unmetered += x * air
		}
	}
	var behind float64
	c.phi, behind = c.engine.step(c.src, c.now, c.loop.fuel())
	c.cell.step(c.src, c.phi)
	c.rearV = c.rear.step(c.src, behind)
	c.loop.step(c.now, c.cell.shown, c.rearV)
	if c.due -= dt; c.due <= 0 {
		c.due += c.refresh
		c.tell(air)
	}
}

// tell makes what the port tells, in the standard's steps.
func (c *wideCar) tell(air float64) {
	lambda := min(1/c.cell.shown, c.cell.ceiling)
	ratio := func(x float64) float64 { return math.Round(x*32768) / 32768 }
	mA := math.Round(pumpCurrent(lambda)*256) / 256
	if c.cell.open {
		lambda, mA = 1, 0
	}
	c.told = map[string]float64{
		"EQ_RAT11": ratio(lambda), "O2S11_WIDE_MA": mA, "EQ_RAT": ratio(1 / c.loop.target), "SHRTFT1": trimByte(c.loop.trim), "LONGFT1": trimByte(c.loop.long),
		"FUELSYS1": c.loop.status, "O2S12": voltByte(c.rearV), "RPM": math.Round(c.now.rpm*4) / 4, "LOAD_PCT": math.Round(c.now.load*255) / 2.55,
		"MAF": math.Round(air*100) / 100, "ECT": math.Round(c.coolant), "LGSO2FT1": trimByte(c.loop.rear),
	}
}
