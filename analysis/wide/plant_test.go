package wide

import (
	"math"
	"math/rand/v2"
)

// plant is a small loop by the structure of SAE 970613: commanded fuel and what is fed reach the sensor
// after a dead time, the sensor lags, a PI controller brings λ to its command. Fractions and s.
type plant struct {
	gain, deliver  float64 // of the sensor and of the fuel that is commanded
	delay          float64
	tauRich, tauLn float64    // the sensor's lag towards each side
	late           [2]float64 // and its own delay towards lean, rich
	offset         float64
	open           bool // the pump's wire: λ stays at its command
	frozen         bool // trim does not move
	kp, ki         float64
	dither         float64
	noise          float64
	limit          float64
	feed           []feed
	tail           float64 // s: what is fed fades so after its end; 0: it falls in a straight line
	cuts           [][2]float64
}

// feed is mixture that is moved by p (a fraction of fuel) from one moment to another, s, through ramps.
type feed struct{ p, from, on, to, off float64 }

func sound() plant {
	return plant{gain: 1, deliver: 1, delay: 0.35, tauRich: 0.1, tauLn: 0.1, kp: 0.12, ki: 0.35, dither: 0.005, noise: 0.002, limit: 0.25}
}

// state of the plant at a moment, as the port would tell it.
type state struct {
	t, lambda, command, trim, rear float64
	status                         int
}

const plantStep = 0.01

// run yields the state each 10 ms.
func (p plant) run(seconds float64, seed uint64, each func(state)) {
	rng := rand.New(rand.NewPCG(seed, 7))
	n := int(seconds / plantStep)
	line := make([]float64, n) // fuel on its way
	wander, sensed, integral, store := 0.0, 0.0, 0.0, 0.0
	period := 2.1 + rng.Float64()
	for i := range n {
		t := float64(i) * plantStep
		fed := 0.0
		for _, f := range p.feed {
			s := min(max((t-f.from)/f.on, 0), 1) - min(max((t-f.to)/f.off, 0), 1)
			if p.tail > 0 && t > f.to {
				s = math.Exp(-(t - f.to) / p.tail)
			}
			fed += f.p * s
		}
		cut := false
		for _, c := range p.cuts {
			cut = cut || t >= c[0] && t < c[1]
		}
		wander += plantStep*(-wander/4) + 0.0012*math.Sqrt(plantStep)*rng.NormFloat64()
		u := integral
		target := p.dither
		if math.Mod(t, period) < period/2 {
			target = -p.dither
		}
		// Fuel in the cylinder now.
		e := target - sensed
		prop := p.kp * e
		if !cut && !p.frozen {
			integral = min(max(integral+p.ki*e*plantStep, -p.limit), p.limit)
			u = min(max(integral+prop, -p.limit), p.limit)
		}
		if cut {
			u = 0
		}
		phi := (1+p.deliver*(u+target))*(1+fed)*(1+wander) - 1
		if cut {
			phi = -0.5
		}
		line[i] = phi
		reach := func(late float64) float64 {
			if k := i - int(p.delay/plantStep) - int(late/plantStep); k >= 0 {
				return line[k]
			}
			return 0
		}
		at := reach(0)
		down, up := p.gain*reach(p.late[0])+p.offset, p.gain*reach(p.late[1])+p.offset
		real, tau := max(up, sensed), p.tauRich
		if down < sensed && (up <= sensed || p.late[0] < p.late[1]) { // where the two ways disagree, what is newer holds
			real, tau = down, p.tauLn
		}
		sensed += plantStep / tau * (real - sensed)
		if p.open {
			sensed = 0
		}
		store = min(max(store+at*plantStep, -0.06), 0.06) // the catalyst's oxygen
		rear := 0.65
		switch {
		case store >= 0.06:
			rear = 0.85
		case store <= -0.06:
			rear = 0.08
		default:
			rear += 1.5 * store
		}
		s := state{t: t, command: 1 / (1 + target), trim: u, rear: rear, status: 2}
		lam := 1 / (1 + sensed)
		if p.open {
			lam = 1
		} else {
			lam += p.noise * rng.NormFloat64()
		}
		if cut {
			s.status = 4
		}
		s.lambda = min(lam, 1.999)
		each(s)
	}
}

// trace reads the plant so often a second, in turn or together, with a port's resolution.
func (p plant) trace(seconds, rate float64, seed uint64) Trace {
	return p.read(seconds, rate, seed, true)
}

// read is that, with the target or without: it may sway then.
func (p plant) read(seconds, rate float64, seed uint64, target bool) Trace {
	tr := Trace{Sways: !target}
	rng := rand.New(rand.NewPCG(seed, 99))
	nextAt := 0.0
	p.run(seconds, seed, func(s state) {
		if s.t < nextAt {
			return
		}
		nextAt = s.t + (0.9+0.2*rng.Float64())/rate
		u := math.Round(s.trim*128) / 128
		if target {
			u = (1+u)/s.command - 1
		}
		tr.YT, tr.Y = append(tr.YT, s.t), append(tr.Y, 1/s.lambda-1)
		tr.UT, tr.U = append(tr.UT, s.t), append(tr.U, u)
	})
	return tr
}
