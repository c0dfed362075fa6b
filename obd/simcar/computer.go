package simcar

import (
	"math"
	"slices"
	"time"
)

// unseen says what a computer does while its sensor shows nothing but the bias.
type unseen uint8

const (
	holds  unseen = iota // stays in closed loop and holds the trim
	drifts               // stays in closed loop and ramps on to the limit
	opens                // goes back to open loop
)

// controlSpec is the computer's programme.
type controlSpec struct {
	relaySpec
	habitSpec
	monitorSpec
	wideLoop
	limit          float64    // of short-term trim, both ways
	canCut, canAdd bool       // trim may go below / above zero
	frozen         bool       // trim never moves
	learn          float64    // long-term trim moves by learn·short-term trim each second
	learned        [2]float64 // long-term trim at the start
	shortTerm      [2]float64 // short-term trim at the start
	idleTerm       float64    // at idle it learns a term beside all trims, by this share of total trim a second; 0: none
	cells          *grid      // learned by speed and load, on top of the rest; nil: one value for all
	closedAt       float64    // °C from which the loop may close
	closedAfter    float64    // s after the start
	unseen         unseen
	refresh        time.Duration // of the data it reports
	filter         float64       // s: low pass of the voltages that it reports; 0: none
}

// relaySpec is the two-point control of a switching sensor.
type relaySpec struct {
	ramp, jump     float64 // per s, and at each switch; fractions
	shift          float64 // the jump's asymmetry where no downstream sensor sets it
	toRich, toLean float64 // s by which the turn of the ramp is delayed after the reading has gone rich, lean
	band           float64 // V; 0: switchBand
}

// monitorSpec are the circuit monitors: seconds until a code sets, 0 for a monitor that is off
// or too slow to matter.
type monitorSpec struct {
	lowAfter, highAfter, openAfter, fuelAfter float64
	stored                                    []uint16 // codes there from before
}

// The relay's switch point and hysteresis (0.45 V: common practice; the band has no source).
const (
	switchVolts = 0.45
	switchBand  = 0.015
)

// FUELSYS bits of PID 03 (SAE J1979).
const (
	openCold    = 0x01 // open loop, not ready
	closed      = 0x02
	openLoad    = 0x04 // open loop, load or fuel cut
	openFault   = 0x08 // open loop, fault
	closedFault = 0x10 // closed loop, but a sensor is not used for a fault
)

// bankControl is the loop of one bank.
type bankControl struct {
	monitorTimes
	sensorUse
	stft, ltft         float64
	cell               float64 // learned here beyond ltft
	idle               float64 // g/s: what it injects for that much more air, learned at idle, in no trim
	rich               bool    // where the relay stands
	turning            float64 // s for which the reading has stood on the other side
	sum, rearTrim      float64 // of a wide-range loop: integral, and what the rear sensor adds
	status             byte
	fault              bool
	seen               bool    // the sensor has left the bias since the start
	lastSeen           float64 // s
	up, down           float64 // V as converted
	shownUp, shownDown float64 // V as reported, after the filter
	own                ownFigures
}

// monitorTimes are how long a monitor's condition has lasted, in s.
type monitorTimes struct{ low, high, mid, lean, overRich float64 }

// learned is long-term trim where the engine now runs.
func (b *bankControl) learned() float64 { return b.ltft + b.cell }

// computer is the engine's computer.
type computer struct {
	spec            *controlSpec
	bank            [2]bankControl
	enrich          float64 // fuel asked for beyond stoichiometry, 1 = none
	cut             bool
	resume          float64 // s until which the loop stays open after a cut or enrichment
	pending, stored []uint16
	data            snapshot
	frame           *frozen  // freeze frame; nil: none
	more            []frozen // of further codes: J1979-2 keeps one for each
	sinceClear      float64  // s of closed loop since the codes were cleared; negative: long ago
	next            int64    // step of the next refresh
	lastLoad        float64  // slowly followed, to see steps of it
	paused          float64  // s until which trim rests
	nextPause       float64  // s
	alcohol         float64  // share that it takes the fuel to have
}

// snapshot is what the computer reports until its next refresh. Wide because it has a field for each PID.
type snapshot struct {
	rpm, load, air, coolant, speed, throttle, spark, mapKPa, iat, voltage, command float64
	ran, alcohol                                                                   float64
	status                                                                         [2]byte
	stft, ltft, up, down, wide, amps, wideDown, rear                               [2]float64
}

func (k *computer) init(c *car) {
	k.spec = &c.spec.control
	k.enrich, k.paused, k.nextPause, k.alcohol = 1, -1000, -1000, 0.1
	k.stored = slices.Clone(k.spec.stored)
	for i := range k.bank {
		b := &k.bank[i]
		b.ltft, b.stft, b.sum = k.spec.learned[i], k.spec.shortTerm[i], k.spec.shortTerm[i]
		b.status = openCold
		b.up, b.down = biasVolts, 0.6
		b.shownUp, b.shownDown = b.up, b.down
		b.seen = !c.spec.engine.justBegun
		b.lastSeen = -1000
		b.own.init()
	}
	k.sinceClear = -1
	k.report(c)
	for _, code := range k.stored {
		k.freeze(code)
	}
}

// volts converts an input as the PIDs carry it: 5 mV counts, 0 to 1.275 V (SAE J1979).
func volts(v float64) float64 { return math.Round(min(max(v, 0), 1.275)*200) / 200 }

// tick runs the programme for 10 ms.
func (k *computer) tick(c *car) {
	t := c.seconds()
	k.fuelling(c, t)
	k.rest(c, t)
	for i := range k.bank[:c.spec.engine.banks] {
		b := &k.bank[i]
		from := i
		if c.spec.crossed {
			from = 1 - i
		}
		b.up = volts(c.banks[from].inputUp + 0.003*c.rng.NormFloat64())
		b.down = volts(c.banks[i].inputDown + 0.003*c.rng.NormFloat64())
		if c.n == c.zero {
			b.own.init() // what the settling showed is no car's
		}
		b.own.step(b.up, t)
		k.show(b)
		b.cell = k.spec.cells.at(c.slot())
		before := b.stft
		k.circuit(c, b, from, t)
		b.status = k.status(c, b, t)
		if k.mayTrim(c, b, t) {
			if c.spec.wide {
				k.proportional(c, i, b)
			} else {
				k.relay(c, i, b, t)
			}
			b.stft = min(max(b.stft, -k.spec.limit), k.spec.limit)
			if !k.spec.canCut {
				b.stft = max(b.stft, 0)
			}
			if !k.spec.canAdd {
				b.stft = min(b.stft, 0)
			}
			b.ltft = min(max(b.ltft+k.spec.learn*b.stft*tick, -0.2), 0.2)
			if e := &c.spec.engine; c.rpm < 1.3*e.idleRPM {
				b.idle += k.spec.idleTerm * (b.stft + b.learned()) * e.idleFlow / float64(e.banks) * tick
			}
		}
		k.fuelMonitor(b, i)
		if b.status == closed {
			c.tech.answered(from, b.stft-before, c.now())
		}
	}
	if k.sinceClear >= 0 && k.bank[0].status == closed {
		k.sinceClear += tick
	}
	if c.n >= k.next {
		k.next = c.n + int64(k.spec.refresh/step)
		k.report(c)
	}
}

// show follows what is reported: some computers filter it.
func (k *computer) show(b *bankControl) {
	if k.spec.filter == 0 {
		b.shownUp, b.shownDown = b.up, b.down
		return
	}
	b.shownUp += (b.up - b.shownUp) * tick / (k.spec.filter + tick)
	b.shownDown += (b.down - b.shownDown) * tick / (k.spec.filter + tick)
}

// fuelling decides on fuel cut and enrichment.
func (k *computer) fuelling(c *car, t float64) {
	switch {
	case c.load < 0.11 && c.rpm > 1500:
		k.cut = true
	case c.load > 0.13 || c.rpm < 1200:
		k.cut = false
	}
	k.enrich = 1
	if c.load > 0.8 {
		k.enrich = 1.12
	}
	if c.coolant < 60 { // warm-up enrichment
		k.enrich = max(k.enrich, 1+0.0015*(60-c.coolant))
	}
	if k.cut || c.load > 0.8 {
		k.resume = t + 0.5
	}
}

// status returns the FUELSYS byte of one bank.
func (k *computer) status(c *car, b *bankControl, t float64) byte {
	switch {
	case b.fault:
		return openFault
	case c.spec.engine.secondaryAir:
		return openCold
	case c.spec.wide && b.front(c).cold:
		return openCold
	case c.coolant < k.spec.closedAt || c.ran+t < k.spec.closedAfter:
		return openCold
	case t < k.resume:
		return openLoad
	case !c.spec.wide && k.spec.unseen == opens && (!b.seen || t-b.lastSeen > 10):
		return openCold
	case b.letGo == doubtsIt:
		return closedFault
	}
	return closed
}

// relay is the two-point control of a switching sensor: a jump at each switch of the
// reading over 0.45 V, a ramp between. The downstream sensor shifts the mean by
// making the jumps unequal (as in US patent 7,343,734).
func (k *computer) relay(c *car, i int, b *bankControl, t float64) {
	rich, band := b.rich, k.spec.band
	if band == 0 {
		band = switchBand
	}
	switch { // noise at the switch point is not let through
	case b.up > switchVolts+band:
		rich = true
	case b.up < switchVolts-band:
		rich = false
	}
	if k.spec.frozen {
		b.rich = rich
		return
	}
	if t-b.lastSeen > 3 && k.spec.unseen != drifts {
		return
	}
	shift := k.spec.shift
	if c.spec.downstream {
		shift = min(max(2*(0.62-b.down), -0.5), 0.5)
	}
	if rich = k.turned(b, rich); rich != b.rich {
		b.rich = rich
		if rich {
			b.stft -= k.spec.jump * (1 - shift)
		} else {
			b.stft += k.spec.jump * (1 + shift)
		}
	}
	if rich {
		b.stft -= k.spec.ramp * tick
	} else {
		b.stft += k.spec.ramp * tick
	}
}

// turned delays a switch: the ramp goes on for a while after the reading has changed sides,
// which moves the mean (delayed switching, US 7343734) and lengthens the period.
func (k *computer) turned(b *bankControl, rich bool) bool {
	delay := k.spec.toLean
	if rich {
		delay = k.spec.toRich
	}
	if rich == b.rich || delay == 0 {
		b.turning = 0
		return rich
	}
	if b.turning += tick; b.turning < delay {
		return b.rich
	}
	b.turning = 0
	return rich
}

// circuit runs the monitors of the upstream input.
func (k *computer) circuit(c *car, b *bankControl, from int, t float64) {
	if bias := c.spec.bank[from].upWire.open(); bias < 0.3 || bias > 0.6 || math.Abs(b.up-bias) > 0.09 {
		b.seen, b.lastSeen = true, t // only an input that rests in the middle can tell that it is open
	}
	if c.ran+t < 5 || b.fault || k.cut || c.stopped {
		b.low, b.high, b.mid = 0, 0, 0
		return
	}
	i := uint16(0)
	if b == &k.bank[1] {
		i = 0x20 // P0150 … for bank 2
	}
	if c.spec.wide {
		// A wide-range sensor's leads are watched all the time: a force on them is a
		// circuit fault at once.
		if c.tech.wired != nil && c.tech.wide && c.tech.bank == from {
			k.trip(b, 0x0131+i)
		}
		return
	}
	lasts(&b.low, b.up < 0.05 && b.stft >= k.spec.limit-0.005)
	lasts(&b.high, b.up > 0.8 && b.stft <= -k.spec.limit+0.005)
	lasts(&b.mid, math.Abs(b.up-biasVolts) < 0.06)
	switch {
	case k.spec.lowAfter > 0 && b.low > k.spec.lowAfter:
		k.trip(b, 0x0131+i)
	case k.spec.highAfter > 0 && b.high > k.spec.highAfter:
		k.trip(b, 0x0132+i)
	case k.spec.openAfter > 0 && b.mid > k.spec.openAfter:
		k.trip(b, 0x0134+i)
	}
}

// fuelMonitor sets the codes of a mixture beyond the computer's authority; the loop
// stays closed.
func (k *computer) fuelMonitor(b *bankControl, i int) {
	total := b.stft + b.learned()
	lasts(&b.lean, b.status == closed && total > 0.95*k.spec.limit)
	lasts(&b.overRich, b.status == closed && total < -0.95*k.spec.limit)
	if k.spec.fuelAfter == 0 {
		return
	}
	if b.lean > k.spec.fuelAfter {
		k.set(0x0171 + 3*uint16(i))
	}
	if b.overRich > k.spec.fuelAfter {
		k.set(0x0172 + 3*uint16(i))
	}
}

// lasts counts how long a condition has held.
func lasts(s *float64, holds bool) {
	if holds {
		*s += tick
	} else {
		*s = 0
	}
}

// trip sets a circuit code: the loop opens and the trim is dropped.
func (k *computer) trip(b *bankControl, code uint16) {
	b.fault = true
	b.stft = 0
	k.set(code)
}

// set enters a code as pending: one drive cycle's evidence.
func (k *computer) set(code uint16) {
	if !slices.Contains(k.pending, code) && !slices.Contains(k.stored, code) {
		k.pending = append(k.pending, code)
		k.freeze(code)
	}
}

// clearCodes is service 04: codes, freeze frame, monitors and adaptation go.
func (k *computer) clearCodes() {
	k.pending, k.stored, k.frame, k.more, k.sinceClear = nil, nil, nil, nil, 0
	for i := range k.bank {
		k.bank[i].fault, k.bank[i].letGo = false, usesIt
		k.bank[i].ltft = 0
	}
}

// report takes the snapshot that the PIDs carry until the next one.
func (k *computer) report(c *car) {
	d := &k.data
	meter := 1 + c.spec.engine.meter
	d.rpm, d.load, d.air, d.coolant, d.speed = c.rpm, c.load*meter, c.air*meter, c.coolant, c.speed
	d.ran = c.ran + c.seconds()
	d.throttle = 0.12 + 0.8*max(c.load-0.1, 0)
	d.spark = 10 + 20*(c.rpm-700)/2000 - 10*c.load
	d.mapKPa = 12 + 88*c.load
	d.iat = 30
	d.voltage = 14.1
	d.command = k.commanded(c)
	for i := range k.bank[:c.spec.engine.banks] {
		b := &k.bank[i]
		d.status[i] = b.status
		d.stft[i], d.ltft[i] = b.stft, b.learned()
		if b.status != closed {
			d.stft[i] = 0
		}
		d.up[i], d.down[i] = b.shownUp, b.shownDown
		d.wide[i], d.amps[i], d.wideDown[i] = c.banks[i].front.lambda, c.banks[i].front.amps, c.banks[i].rear.lambda
		d.rear[i] = b.rearTrim
	}
	if c.stopped {
		d.rpm, d.load, d.air, d.speed, d.ran, d.mapKPa, d.voltage = 0, 0, 0, 0, 0, 100, 12.4
		d.status, d.stft = [2]byte{openCold, 0}, [2]float64{}
		d.wide, d.amps = [2]float64{1, 1}, [2]float64{}
	}
	if c.spec.oneControl {
		d.status[1] = 0
	}
	if c.spec.diesel {
		d.wide = [2]float64{1.9 + 0.1*c.load, 1.9}
		d.amps = [2]float64{pumpCurrent(d.wide[0]), pumpCurrent(d.wide[1])}
	}
	d.alcohol = k.alcohol
}
