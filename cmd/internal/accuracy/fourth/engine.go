package fourth

// engineSpec is what a bank of an engine is like.
type engineSpec struct {
	litres     float64 // displacement of the bank's cylinders
	turns      float64 // revolutions from injection to the open exhaust valve
	plugGrams  float64 // gas between valve and sensor that moves as a plug
	mixGrams   float64 // and gas that mixes, in each of two volumes
	film       float64 // share of fuel that wets the port, and its time to leave, s: the X-τ model, SAE 810494
	filmTau    float64
	scatter    float64 // from one combustion to the next
	drift      drifting
	mixture    float64 // φ that the computer's base quantity makes with sound air metering
	unmetered  float64 // air past the meter, g/s
	exhaustAir float64 // air drawn in before the sensor at idle, as a share of the exhaust
	delivered  float64 // what a fraction of commanded trim does to the fuel
	storage    float64 // oxygen that the catalyst holds, g
	slip       float64 // share of the gas that passes it unchanged
}

// point is what the engine does.
type point struct {
	rpm, load float64 // load as a share of the full charge
	cut       bool    // fuel cut
	rich      float64 // enrichment at full load or while cold, as a fraction; 0: none
	tip       float64 // error of the fuel quantity in a transient
	purge     float64 // fuel from the canister, as a fraction
}

// airflow of the bank, g/s: 1.18 g/L, a charge every second revolution.
func (e *engineSpec) airflow(p point) float64 { return e.litres * 1.18 * p.rpm / 120 * p.load * 0.85 }

// pipe holds what went in until its coordinate has advanced by length: a plug flow that may
// change its speed.
type pipe struct {
	at, phi     [2048]float64
	head, tail  int
	total, last float64
}

// step lets the coordinate advance, puts φ in and returns what comes out.
func (p *pipe) step(advance, phi, length float64) float64 {
	p.total += advance
	p.at[p.head%len(p.at)], p.phi[p.head%len(p.at)] = p.total, phi
	p.head++
	if p.head-p.tail >= len(p.at) {
		p.tail = p.head - len(p.at) + 1
	}
	for p.tail < p.head && p.at[p.tail%len(p.at)] <= p.total-length {
		p.last = p.phi[p.tail%len(p.at)]
		p.tail++
	}
	return p.last
}

// bank is the engine side of one bank at work.
type bank struct {
	engineSpec
	turning, moving pipe
	wall            float64 // φ of what the film gives
	mixed           [2]float64
	oxygen          float64 // stored, g
	behind          float64 // φ behind the catalyst, mixed
}

func newBank(e engineSpec) *bank {
	return &bank{engineSpec: e, turning: pipe{last: 1}, moving: pipe{last: 1}, wall: 1, mixed: [2]float64{1, 1}, oxygen: e.storage / 2, behind: 1}
}

// step burns what trim (1 + S)(1 + L) makes of the base quantity, and returns φ at the
// sensor and behind the catalyst.
func (b *bank) step(s source, p point, trim float64) (front, rear float64) {
	air := b.airflow(p)
	injected := 0.0
	if !p.cut {
		injected = b.mixture * (1 + b.delivered*(trim-1)) * (1 + p.rich) * (1 + p.tip)
	}
	b.wall = lag(b.wall, injected, b.filmTau)
	burnt := (1-b.film)*injected + b.film*b.wall
	burnt = burnt*air/(air+b.unmetered) + p.purge
	if !p.cut {
		burnt *= 1 + b.scatter*s.NormFloat64() + b.drift.step(s)
	}
	phi := b.turning.step(p.rpm/60*dt, max(0, burnt), b.turns)
	phi = b.moving.step(air*dt, phi, b.plugGrams)
	for i := range b.mixed {
		b.mixed[i] = lag(b.mixed[i], phi, b.mixGrams/air)
		phi = b.mixed[i]
	}
	// Pulsation draws air in at idle; with flow the pipe's mean pressure keeps it out.
	share := b.exhaustAir * min(1, 4/air)
	front = phi / (1 + share)
	return front, b.catalyst(front, air)
}

// catalyst balances oxygen: 0.2315 g a gram of air, less what the fuel's excess takes.
func (b *bank) catalyst(phi, air float64) float64 {
	surplus := 0.2315 * air * (1 - phi) * (1 - b.slip) * dt
	out := 1 + b.slip*(phi-1)
	next := b.oxygen + surplus
	switch {
	case next > b.storage || next < 0:
		out = phi
	case b.storage > 0:
		// Nearly empty it lets a little CO through, nearly full a little oxygen.
		fill := next / b.storage
		out += 0.004 * (1 - 2*fill)
	}
	b.oxygen = clamp(next, 0, b.storage)
	b.behind = lag(b.behind, out, 3/(air+1))
	return b.behind
}
