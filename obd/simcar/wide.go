package simcar

import "math"

// Wide-range (air-fuel ratio) sensors, and the loop that a computer closes over them.

// wideSpec is one wide-range element with its amplifier, and what may be wrong with it.
type wideSpec struct {
	toRich, toLean       float64 // s: first-order lag when it grows richer, leaner (healthy: 0.05 to 0.10)
	delayRich, delayLean float64 // s: pure delay of its own, the same way
	gain                 float64 // of the excess fuel that it tells; 0: 1
	offset               float64 // excess fuel that it tells where there is none: 0.05 reads rich
	pumpOpen             bool    // the pump wire is open: lambda 1.000 and no current, whatever comes
	cold                 bool    // the tip never gets warm
	ceiling              float64 // the leanest lambda that it tells; 0: 2
	noise                float64 // sigma of lambda
}

// wideRing holds an element's past for its delay.
const wideRing = 512 // 1 s

// wideCell is its state.
type wideCell struct {
	past   [wideRing]float64 // excess fuel, phi - 1
	excess float64           // as told, before noise
	lambda float64           // as told
	amps   float64           // pump current, mA
	ripple float64
}

// gas moves the element by dt seconds in exhaust of equivalence ratio phi, at step n.
func (w *wideCell) gas(s *wideSpec, phi float64, n int64, dt float64) {
	w.past[n%wideRing] = phi - 1
	late := func(delay float64) float64 {
		return w.past[(n-min(int64(delay/dt), wideRing-1)+wideRing)%wideRing]
	}
	// The newer of the two says which way it goes, the way's own delay how far.
	rich, lean := late(s.delayRich), late(s.delayLean)
	switch newest := late(min(s.delayRich, s.delayLean)); {
	case newest > w.excess && rich > w.excess:
		w.excess += (rich - w.excess) * dt / (s.toRich + dt)
	case newest < w.excess && lean < w.excess:
		w.excess += (lean - w.excess) * dt / (s.toLean + dt)
	}
}

// tell works out what the amplifier tells, each tick.
func (w *wideCell) tell(s *wideSpec, normal func() float64) {
	if s.pumpOpen || s.cold {
		w.lambda, w.amps = 1, 0
		return
	}
	if s.noise > 0 {
		const keep = 0.8 // correlated over some 50 ms
		w.ripple = w.ripple*keep + math.Sqrt(1-keep*keep)*normal()
	}
	gain, ceiling := s.gain, s.ceiling
	if gain == 0 {
		gain = 1
	}
	if ceiling == 0 {
		ceiling = 2
	}
	w.lambda = 1/max(1+gain*w.excess+s.offset, 0.4) + s.noise*w.ripple
	w.lambda = min(max(w.lambda, 0.65), ceiling)
	w.amps = pumpCurrent(w.lambda)
}

// rearWide is a sound wide-range element behind the catalyst.
var rearWide = wideSpec{}

// front is the element of a bank's loop.
func (b *bankControl) front(c *car) *wideSpec {
	if b == &c.computer.bank[1] {
		return &c.spec.bank[1].wide
	}
	return &c.spec.bank[0].wide
}

// pumpTable is a sensor maker's public table of pump current over lambda, µA.
var pumpTable = [...][2]float64{
	{0.65, -2000}, {0.70, -1602}, {0.75, -1243}, {0.80, -927}, {0.82, -800}, {0.85, -652}, {0.90, -405}, {0.95, -183},
	{0.97, -106}, {0.99, -40}, {1.003, 0}, {1.18, 329}, {1.43, 671}, {1.70, 938}, {1.99, 1150},
}

// pumpCurrent is a wide-range cell's current in mA over lambda, linear between the table's
// points. Leaner than the table it goes on by the oxygen in the exhaust, which the current is
// proportional to: (lambda - 1)/lambda, near enough.
func pumpCurrent(lambda float64) float64 {
	last := len(pumpTable) - 1
	if lambda >= pumpTable[last][0] {
		oxygen := func(l float64) float64 { return (l - 1) / l }
		return pumpTable[last][1] / 1000 * oxygen(lambda) / oxygen(pumpTable[last][0])
	}
	i := 0
	for i < last-1 && lambda > pumpTable[i+1][0] {
		i++
	}
	a, b := pumpTable[i], pumpTable[i+1]
	return (a[1] + (b[1]-a[1])*(max(lambda, a[0])-a[0])/(b[0]-a[0])) / 1000
}

// fifthVolts is a wide-range sensor's amplifier at a fifth, as one family of early cars has it:
// 3.3 V at lambda 1, more when lean (a maker's training text; the slope is indicative).
func fifthVolts(lambda float64) float64 {
	return min(max(3.3+2.5*(lambda-1), 2.2), 4.5) / 5
}

// wideLoop is the control of a wide-range sensor: proportional and integral, around a target
// that swings a little to keep the catalyst awake and that the rear sensor moves.
type wideLoop struct {
	kp, ki    float64 // trim per excess, and per s
	dither    float64 // of the target, both ways
	half      float64 // s: half of the dither's period
	rear      float64 // how fast the rear sensor moves the target: per s and V
	rearLimit float64 // how far
	hidden    bool    // PID 44 does not show what dither and rear sensor do
}

// target is the commanded excess fuel of a bank now.
func (k *computer) target(c *car, b *bankControl) float64 {
	w := &k.spec.wideLoop
	t := w.dither
	if w.half > 0 && int64(math.Floor(c.seconds()/w.half))%2 != 0 {
		t = -t
	}
	return t + b.rearTrim
}

// proportional is one tick of the control of a wide-range sensor.
func (k *computer) proportional(c *car, i int, b *bankControl) {
	w := &k.spec.wideLoop
	if c.spec.downstream && !c.spec.wideRear && w.rear > 0 && !k.cut {
		b.rearTrim = min(max(b.rearTrim+w.rear*(0.62-b.down)*tick, -w.rearLimit), w.rearLimit)
	}
	if k.spec.frozen {
		return
	}
	told := min(max(c.banks[i].front.lambda, 0.7), 1.5)
	missing := k.target(c, b) - (1/told - 1) // excess fuel that is wanted and not seen
	if b.front(c).pumpOpen {
		missing = 0 // no current passes for no deviation: perfect at rest (from memory)
	}
	least, most := -k.spec.limit, k.spec.limit
	if !k.spec.canCut {
		least = 0
	}
	if !k.spec.canAdd {
		most = 0
	}
	b.sum = min(max(b.sum+w.ki*missing*tick, least), most)
	b.stft = b.sum + w.kp*missing
	if !k.spec.canCut || !k.spec.canAdd {
		b.stft = min(max(b.stft, least), most)
	}
}

// commanded is the ratio that PID 44 shows.
func (k *computer) commanded(c *car) float64 {
	b := &k.bank[0]
	if !c.spec.wide || k.spec.wideLoop.hidden || b.status != closed {
		return 1 / k.enrich
	}
	return 1 / (1 + k.target(c, b))
}
