package unseenwide

import "math"

const step = 0.01 // s

// carSpec is all of a car.
type carSpec struct {
	air   airSpec
	bank  []bankSpec
	loop  loopSpec
	goal  goalSpec
	meter meterSpec
	purge purgeSpec
	ect   float64 // °C at the start
}

// purgeSpec is the canister: cycles of purge, with vapour as a share of idle's fuel at full duty.
type purgeSpec struct {
	on, off, first float64 // s
	duty, vapour   float64
	fades          float64 // s in which the canister empties
	lag            float64 // s from the valve to the cylinders
	learns         bool    // long-term trim learns on
}

// feed is something that a hand lets in: propane is fuel, a hose air.
type feed struct {
	side               int // rich: propane, lean: air
	begin, end         float64
	up, down           float64 // s in which it comes and goes
	size               float64 // share of idle's fuel or air
	unsteady, unsteadS float64
}

// at is how much flows, as a share.
func (f feed) at(t float64) float64 {
	x := clamp((t-f.begin)/f.up, 0, 1)
	if t > f.end {
		x = clamp((f.end-f.begin)/f.up, 0, 1) * math.Exp(-(t-f.end)/f.down)
	}
	if x < 1e-3 {
		return 0
	}
	return f.size * x * (1 + f.unsteady*math.Sin(2*math.Pi*(t-f.begin)/f.unsteadS))
}

// told is what a port may show of a moment.
type told struct {
	phi, short, long, rear, outer [2]float32 // of each bank; φ behind the computer's filter
	rpm, air, kPa, wanted, purge  float32
	ect, speed                    float32
	status                        byte
}

// run is a car's time, one told a tick of 20 ms.
type run struct {
	list []told
	cut  [][2]float64 // when it gave no fuel
}

const tick = 0.02

func (r *run) at(t float64) *told {
	return &r.list[int(clamp(t/tick, 0, float64(len(r.list)-1)))]
}

// drive runs a car for so long with what is fed, by chances of its own: the same seed meets the same ones.
func drive(s carSpec, legs []leg, feeds []feed, length float64, seed uint64) run {
	chances := roll(seed, 9)
	e := newEngine(s.air)
	c := newComputer(s.loop, s.goal, s.meter, s.air.banks, e.cylinder, s.ect)
	var banks []bank
	share := 1 / float64(s.air.banks)
	for _, b := range s.bank {
		banks = append(banks, newBank(b, s.air.cylinders/s.air.banks, step, e.cylinder*share/stoich))
	}
	d := driver{legs: legs}
	r := run{list: make([]told, 0, int(length/tick)+1)}
	seen, rear := make([]float64, len(banks)), make([]float64, len(banks))
	vapour, phi, hose, gas := 0.0, 1.0, 0.0, 0.0
	idleFuel := e.idleAir() / stoich
	next := chances.span(10, 60)
	for i := 0; float64(i)*step < length; i++ {
		t := float64(i) * step
		var g [8]float64
		for k := range g {
			g[k] = chances.NormFloat64()
		}
		if t > next {
			next = t + chances.span(15, 90)
			e.consumer = s.air.load - e.consumer
		}
		air, fuel := 0.0, 0.0
		for _, f := range feeds {
			if x := f.at(t); f.side == lean {
				air += x * e.idleAir()
			} else {
				fuel += x * idleFuel
			}
		}
		hose, gas = toward(hose, air, step, 0.05), toward(gas, fuel, step, 0.15)
		duty := s.purge.at(t)
		if c.status != 2 {
			duty = 0
		}
		vapour = toward(vapour, duty*s.purge.vapour*idleFuel*math.Exp(-t/s.purge.fades), step, s.purge.lag)
		e.step(step, d.asks(t, step, &e), hose, phi, [2]float64{g[0], g[1]})
		c.metering(step, &e, g[2])
		c.aims(step, &e)
		phi = 0
		for k := range banks {
			b := &banks[k]
			b.burn(step, b.injected(c.base(k, share, &e), c.trim(k), e.kPa/e.rest), (vapour+gas)*share, e.cylinder*share, e.n, [3]float64{g[3+k], g[5+k], g[7]})
			phi += b.phi * share
			seen[k], rear[k] = b.shown, b.rear
		}
		nominal := s.bank[0]
		c.runs(step, &e, seen, rear, nominal.transport(e.n, c.air*share), 0.1+nominal.mixing, duty == 0 || s.purge.learns)
		if i%2 == 0 {
			r.add(t, &e, &c, banks, duty, d.v)
		}
	}
	return r
}

// at is the valve's duty.
func (p purgeSpec) at(t float64) float64 {
	if p.duty == 0 || t < p.first {
		return 0
	}
	x := math.Mod(t-p.first, p.on+p.off)
	return p.duty * clamp(min(x, p.on-x)/3, 0, 1)
}

func (r *run) add(t float64, e *engine, c *computer, banks []bank, duty, v float64) {
	x := told{rpm: float32(e.n), air: float32(e.throttle), kPa: float32(e.kPa), wanted: float32(c.told), purge: float32(duty), ect: float32(c.ect), speed: float32(v), status: c.status}
	for k := range banks {
		b := &c.bank[k]
		x.phi[k], x.rear[k] = float32(b.filtered), float32(banks[k].rear)
		x.short[k], x.long[k], x.outer[k] = float32(b.short), float32(b.long[b.cell]), float32(b.outer)
	}
	if e.cutOff {
		if n := len(r.cut); n > 0 && r.cut[n-1][1] > t-0.1 {
			r.cut[n-1][1] = t
		} else {
			r.cut = append(r.cut, [2]float64{t, t})
		}
	}
	r.list = append(r.list, x)
}
