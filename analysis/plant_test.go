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

func (c plant) run(cfg Config) (*Watcher, []Event) {
	w := NewWatcher(cfg)
	var events []Event
	keep := func(e []Event) { events = append(events, e...) }
	rng := rand.New(rand.NewPCG(c.seed, 77))
	sig := func(n string) *decode.Signal { return decode.ByName(n) }
	const dt = 0.005
	n := int(c.seconds / dt)
	queue := make([]float64, int(c.delay/dt)+1)
	for i := range queue {
		queue[i] = c.base
	}
	trim, emf, oxy := 0.0, 0.45, 0.5
	trim2, long := 0.0, 0.0
	ecuRich := false
	nextV, count := 0.3, 0
	marked := make([]int, len(c.forces))
	slow := 0.0
	openLoop, stuckFor := false, 0.0
	for i := range n {
		t := float64(i) * dt
		applied := trim + long
		if c.noDelivery {
			applied = 0
		}
		lambda := c.base / (1 + applied/100)
		if c.disturbance != nil {
			lambda += c.disturbance(t)
		}
		if c.hunting {
			lambda += 0.01 * math.Sin(2*math.Pi*t/2.5)
		}
		lambda += 0.002 * rng.NormFloat64()
		for _, f := range c.forces {
			if c.mixed > 0 && t >= f.at && t < f.at+f.length {
				lambda += c.mixed * (2*boolTo(f.side == Lean) - 1)
			}
		}
		copy(queue, queue[1:])
		queue[len(queue)-1] = lambda
		atSensor := queue[0]
		target := cellCurve(atSensor)
		if c.cell != nil {
			target = c.cell(atSensor, t)
		}
		emf += (target - emf) * dt / c.tau
		oxy += (atSensor - 1) / 0.10 * dt / c.oxygen
		oxy = min(max(oxy, 0), 1)
		down := 0.65 - 0.6*oxy*oxy
		if oxy <= 0 {
			down = 0.85
		} else if oxy >= 1 {
			down = 0.05
		}
		wire := emf
		if c.open {
			wire = 0.45
		}
		for k, f := range c.forces {
			if t >= f.at && t < f.at+f.length {
				if c.mixed == 0 && (!f.shaky || math.Mod(t*3.7, 1) > 0.15) {
					wire = f.volts
					if c.blend {
						wire = 0.25*f.volts + 0.75*emf
					}
				}
			}
			side, from, until := f.side, f.at, f.at+f.length-c.lingers
			if c.tap != nil {
				side, from, until = c.tap(side, from, until)
			}
			if t >= from && c.marks && marked[k] == 0 {
				marked[k] = 1
				keep(w.Mark(secs(t+0.2), side))
			}
			if t >= until && c.marks && marked[k] == 1 {
				marked[k] = 2
				keep(w.Release(secs(t + 0.3)))
			}
		}
		read := wire
		read += c.raised
		if c.inputStuck > 0 {
			read = c.inputStuck
		}
		if c.trips > 0 {
			if read < 0.05 {
				stuckFor += dt
			} else {
				stuckFor = 0
			}
			openLoop = openLoop || stuckFor > c.trips
		}
		isRich := read > 0.45
		tr := &trim
		if c.crossed {
			tr = &trim2
		}
		if isRich != ecuRich {
			ecuRich = isRich
			if isRich {
				*tr -= c.jump
			} else {
				*tr += c.jump
			}
		}
		if isRich {
			*tr -= c.ramp * dt
		} else {
			*tr += c.ramp * dt
		}
		*tr = min(max(*tr, -c.limit), c.limit)
		if d := c.learn * dt; c.learn > 0 && math.Abs(trim) > 2 {
			long += math.Copysign(d, trim)
			trim -= math.Copysign(d, trim)
		}
		if c.addsOnly {
			*tr = max(*tr, 0)
		}
		if c.cutsOnly {
			*tr = min(*tr, 0)
		}
		if c.frozen || openLoop {
			*tr = 0
		}
		if t < nextV {
			continue
		}
		for _, g := range c.gaps {
			if t >= g[0] && t < g[1] {
				nextV = g[1]
			}
		}
		if t < nextV {
			continue
		}
		nextV = t + (1+0.2*(rng.Float64()-0.5))/c.rate
		count++
		s := func(name string, v float64, lag float64) {
			keep(w.Step(decode.Sample{Signal: sig(name), Sent: secs(t - 0.02 - lag), Received: secs(t + 0.02), Value: v}))
		}
		q := func(v float64) float64 { return math.Round((v+100)/100*128)/128*100 - 100 }
		s("O2S11", math.Round(min(max(read+c.noise*rng.NormFloat64()*boolTo(wire == emf), 0), 1.275)/0.005)*0.005, 0)
		if c.unused {
			keep(w.Step(decode.Sample{Signal: sig("SHRTFT11"), Sent: secs(t - 0.02), Received: secs(t + 0.02), Missing: true}))
		}
		if count%c.trimEvery == 0 && !c.noTrim {
			s("SHRTFT1", q(trim), 0)
			if c.crossed {
				s("SHRTFT2", q(trim2), 0)
			}
			if c.bothTrims {
				s("SHRTFT2", q(trim), 0)
			}
		}
		if c.downstream && count%max(1, int(c.rate)) == 0 {
			s("O2S12", math.Round(down/0.005)*0.005, 0)
		}
		if t > slow {
			slow = t + 1.5
			s("LONGFT1", q(long), 0)
			s("ECT", c.coolant, 0)
			st := 2.0
			if c.status != nil {
				st = c.status(t)
			}
			if openLoop {
				st = 8
			}
			s("FUELSYS1", st, 0)
			r := 750.0
			if c.hunting {
				r += 60 * math.Sin(2*math.Pi*t/2.5)
			}
			if c.rpm != nil {
				r = c.rpm(t)
			}
			s("RPM", r, 0)
		}
	}
	keep(w.Finish(secs(c.seconds)))
	return w, events
}

func boolTo(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func secs(t float64) time.Duration { return time.Duration(t * 1e9).Truncate(time.Microsecond) }
