package analysis

import (
	"math"
	"math/rand/v2"
	"time"

	"pushback/decode"
)

// plant is a small closed fuel loop of its own for these tests: relay with jump and
// ramp, dead time, a saturating cell. It is deliberately not the simulated car of
// obd/simcar, so that the watcher is tried on two loops written apart.
type plant struct {
	rate      float64 // readings of volts per s
	trimEvery int     // one trim reading after so many volts readings
	seed      uint64
	seconds   float64

	ramp, jump  float64 // % per s, %
	limit       float64 // %
	delay       float64 // s from fuel to sensor
	tau         float64 // s, the cell's lag
	noise       float64 // V
	base        float64 // base lambda: 1.1 is 10 % lean
	forces      []hold
	marks       bool
	tap         func(side Side, at, until float64) (Side, float64, float64) // what is said instead, and when
	downstream  bool
	oxygen      float64 // s to drain or fill the catalyst at 10 % off
	frozen      bool
	addsOnly    bool
	cutsOnly    bool
	noDelivery  bool
	inputStuck  float64 // V read whatever the wire says; 0 = off
	cell        func(lambda float64, t float64) float64
	crossed     bool // the forced signal is read as bank 1, bank 2's trim answers
	rpm         func(t float64) float64
	status      func(t float64) float64
	disturbance func(t float64) float64 // added to lambda
	coolant     float64
	open        bool         // sensor side of the tap is open: bias on release
	trips       float64      // s of a reading below 0.05 V after which the computer opens the loop; 0: never
	gaps        [][2]float64 // no readings between these times
	learn       float64      // % per s that long-term trim takes over from short-term trim
	bothTrims   bool         // both banks have one trim
	blend       bool         // the source is weak: the sensor pulls the wire most of the way back
	noTrim      bool         // trim is not read
	raised      float64      // V by which the signal return lies above the computer's ground
	unused      bool         // the byte of trim beside the voltage is FF
	mixed       float64      // the forces move lambda by so much, not the wire
	lingers     float64      // s by which a release is said before the mixture goes back
	hunting     bool         // idle speed and mixture swing with a period of 2.5 s
}

type hold struct {
	side       Side
	at, length float64
	volts      float64
	shaky      bool
}

func lean(at, length float64) hold { return hold{side: Lean, at: at, length: length} }
func rich(at, length float64) hold { return hold{side: Rich, at: at, length: length, volts: 0.9} }

func healthy() plant {
	return plant{rate: 8, trimEvery: 1, seconds: 110, ramp: 2.5, jump: 2, limit: 25, delay: 0.35, tau: 0.08,
		noise: 0.006, base: 1.02, forces: []hold{lean(25, 14), rich(65, 14)}, downstream: true, oxygen: 4, coolant: 85}
}

func cellCurve(lambda float64) float64 {
	return 0.46 + 0.40*math.Tanh((1-lambda)*180) + 0.15*(1-lambda)
}

const plantStep = 0.005 // s

// running is a plant while it runs.
type running struct {
	plant
	w      *Watcher
	events []Event
	rng    *rand.Rand
	t      float64 // s

	queue      []float64 // λ on its way to the sensor
	trim, long float64
	trim2      float64 // of the other bank
	emf, oxy   float64
	wire, read float64 // V, and as the computer reads it
	ecuRich    bool
	openLoop   bool
	stuckFor   float64

	marked      []int
	nextV, slow float64
	count       int
}

func (c plant) run(cfg Config) (*Watcher, []Event) {
	r := &running{plant: c, w: NewWatcher(cfg), rng: rand.New(rand.NewPCG(c.seed, 77)), queue: make([]float64, int(c.delay/plantStep)+1),
		emf: 0.45, oxy: 0.5, marked: make([]int, len(c.forces)), nextV: 0.3}
	for i := range r.queue {
		r.queue[i] = c.base
	}
	for i := range int(c.seconds / plantStep) {
		r.t = float64(i) * plantStep
		r.burn()
		r.handle()
		r.control()
		if r.due() {
			r.tell()
		}
	}
	r.keep(r.w.Finish(secs(c.seconds)))
	return r.w, r.events
}

func (r *running) keep(e []Event) { r.events = append(r.events, e...) }

// burn makes the mixture of what is fed, and takes it through the pipe to the cell and the catalyst.
func (r *running) burn() {
	applied := r.trim + r.long
	if r.noDelivery {
		applied = 0
	}
	lambda := r.base / (1 + applied/100)
	if r.disturbance != nil {
		lambda += r.disturbance(r.t)
	}
	if r.hunting {
		lambda += 0.01 * math.Sin(2*math.Pi*r.t/2.5)
	}
	lambda += 0.002 * r.rng.NormFloat64()
	for _, f := range r.forces {
		if r.mixed > 0 && f.lasts(r.t) {
			lambda += r.mixed * (2*boolTo(f.side == Lean) - 1)
		}
	}
	copy(r.queue, r.queue[1:])
	r.queue[len(r.queue)-1] = lambda
	atSensor := r.queue[0]
	target := cellCurve(atSensor)
	if r.cell != nil {
		target = r.cell(atSensor, r.t)
	}
	r.emf += (target - r.emf) * plantStep / r.tau
	r.oxy += (atSensor - 1) / 0.10 * plantStep / r.oxygen
	r.oxy = min(max(r.oxy, 0), 1)
}

func (f hold) lasts(t float64) bool { return t >= f.at && t < f.at+f.length }

// handle is the technician: what is on the wire, and what is said of it.
func (r *running) handle() {
	r.wire = r.emf
	if r.open {
		r.wire = 0.45
	}
	for k, f := range r.forces {
		if f.lasts(r.t) && r.mixed == 0 && (!f.shaky || math.Mod(r.t*3.7, 1) > 0.15) {
			r.wire = f.volts
			if r.blend {
				r.wire = 0.25*f.volts + 0.75*r.emf
			}
		}
		side, from, until := f.side, f.at, f.at+f.length-r.lingers
		if r.tap != nil {
			side, from, until = r.tap(side, from, until)
		}
		if r.t >= from && r.marks && r.marked[k] == 0 {
			r.marked[k] = 1
			r.keep(r.w.Mark(secs(r.t+0.2), side))
		}
		if r.t >= until && r.marks && r.marked[k] == 1 {
			r.marked[k] = 2
			r.keep(r.w.Release(secs(r.t + 0.3)))
		}
	}
}

// control is the computer: a relay with jump and ramp.
func (r *running) control() {
	r.read = r.wire + r.raised
	if r.inputStuck > 0 {
		r.read = r.inputStuck
	}
	if r.trips > 0 {
		if r.read < 0.05 {
			r.stuckFor += plantStep
		} else {
			r.stuckFor = 0
		}
		r.openLoop = r.openLoop || r.stuckFor > r.trips
	}
	isRich := r.read > 0.45
	up := 1 - 2*boolTo(isRich)
	trim := &r.trim
	if r.crossed {
		trim = &r.trim2
	}
	if isRich != r.ecuRich {
		r.ecuRich = isRich
		*trim += up * r.jump
	}
	*trim += up * r.ramp * plantStep
	*trim = min(max(*trim, -r.limit), r.limit)
	if d := r.learn * plantStep; r.learn > 0 && math.Abs(r.trim) > 2 {
		r.long += math.Copysign(d, r.trim)
		r.trim -= math.Copysign(d, r.trim)
	}
	if r.addsOnly {
		*trim = max(*trim, 0)
	}
	if r.cutsOnly {
		*trim = min(*trim, 0)
	}
	if r.frozen || r.openLoop {
		*trim = 0
	}
}

// due reports whether a reading comes now.
func (r *running) due() bool {
	if r.t < r.nextV {
		return false
	}
	for _, g := range r.gaps {
		if r.t >= g[0] && r.t < g[1] {
			r.nextV = g[1]
		}
	}
	if r.t < r.nextV {
		return false
	}
	r.nextV = r.t + (1+0.2*(r.rng.Float64()-0.5))/r.rate
	r.count++
	return true
}

func (r *running) step(name string, v float64, missing bool) {
	r.keep(r.w.Step(decode.Sample{Signal: decode.ByName(name), Sent: secs(r.t - 0.02), Received: secs(r.t + 0.02), Value: v, Missing: missing}))
}

// tell hands the readings over as they are rounded on the way.
func (r *running) tell() {
	percent := func(v float64) float64 { return math.Round((v+100)/100*128)/128*100 - 100 }
	volts := func(v float64) float64 { return math.Round(v/0.005) * 0.005 }
	r.step("O2S11", volts(min(max(r.read+r.noise*r.rng.NormFloat64()*boolTo(r.wire == r.emf), 0), 1.275)), false)
	if r.unused {
		r.step("SHRTFT11", 0, true)
	}
	if r.count%r.trimEvery == 0 && !r.noTrim {
		r.step("SHRTFT1", percent(r.trim), false)
		if r.crossed {
			r.step("SHRTFT2", percent(r.trim2), false)
		}
		if r.bothTrims {
			r.step("SHRTFT2", percent(r.trim), false)
		}
	}
	if r.downstream && r.count%max(1, int(r.rate)) == 0 {
		down := 0.65 - 0.6*r.oxy*r.oxy
		if r.oxy <= 0 {
			down = 0.85
		} else if r.oxy >= 1 {
			down = 0.05
		}
		r.step("O2S12", volts(down), false)
	}
	if r.t <= r.slow {
		return
	}
	r.slow = r.t + 1.5
	r.step("LONGFT1", percent(r.long), false)
	r.step("ECT", r.coolant, false)
	status := 2.0
	if r.status != nil {
		status = r.status(r.t)
	}
	if r.openLoop {
		status = 8
	}
	r.step("FUELSYS1", status, false)
	speed := 750.0
	if r.hunting {
		speed += 60 * math.Sin(2*math.Pi*r.t/2.5)
	}
	if r.rpm != nil {
		speed = r.rpm(r.t)
	}
	r.step("RPM", speed, false)
}

func boolTo(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func secs(t float64) time.Duration { return time.Duration(t * 1e9).Truncate(time.Microsecond) }
