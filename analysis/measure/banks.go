package measure

import (
	"cmp"
	"math"
	"slices"

	"pushback/decode"
)

// BankMoved is how one bank's trim answered a force that reached both.
type BankMoved struct {
	Bank   int
	Held   float64 // s: since when its wire was held; of propane, since it came
	Before float64 // %, total trim at rest
	Moved  float64 // %, of what it was
	Gain   float64 // of what it should have moved; NaN: the flow of propane is not known, or a wire was held
	// Between which readings trim left where it had hunted, s after Held; negative: before its own wire was held. NaN: never.
	AfterMin, AfterMax float64
}

// answered reports whether the bank's trim left where it had hunted.
func (b BankMoved) answered() bool { return !math.IsNaN(b.AfterMax) }

// Likeness says how two banks answered.
type Likeness string

const (
	Alike      Likeness = "alike"        // propane moved both trims by as much
	OneLess    Likeness = "one_less"     // one by less
	OneSilent  Likeness = "one_silent"   // one not at all
	EachItsOwn Likeness = "each_its_own" // each wire moved its own bank's trim, when it was held
	Crossed    Likeness = "crossed"      // each moved the other's
	NotTold    Likeness = "not_told"     // too few readings, or none of these
)

// Both is one force that reached both banks: propane, or both wires, held some seconds apart.
type Both struct {
	Rich, Wire bool
	Banks      [2]BankMoved // the watched one first
	Says       Likeness
}

// Apart is how long after the watched wire the other was held, s.
func (b Both) Apart() float64 { return b.Banks[1].Held - b.Banks[0].Held }

// Limits of the comparison. All common practice, no source: propane goes with the air, so the share is the same on both.
const (
	atOnce     = 2.0  // s that two wires are held apart at least, so that their answers are told apart
	lookBack   = 8.0  // s that the other wire may have been held before the watched one
	flat       = 0.03 // V that a held wire's reading moves at most
	likeHold   = 0.1  // V from the level of the watched wire
	flatFor    = 4.0  // s
	wasOther   = 15.0 // s before, in which the reading was on the other side: it was alive
	less       = 0.75 // of the other bank's move is less
	silent     = 0.25 // of it is none
	leastMoved = 3.0  // %, of the bank that moved more
)

// gauge is the trims and the voltage of a bank's first sensor as they came.
type gauge struct {
	short, long float32
	trims       []reading // total trim, %
	volts       []reading
}

type reading struct{ at, v float32 }

// role is what a signal is here: of the bank, or of the engine. Those of a bank are told apart by where they stand.
type role uint8

const (
	isNothing role = iota
	isLong
	isShort
	isVolts
	isRatio
	isFlow
	isSpeed
	isLoad
	isPressure
	isIntake
	isPurge
	isOutside
	isRoadSpeed
)

// part is a role and of which bank: 0 the watched one, 1 the other, or of no bank.
type part struct {
	role
	bank uint8
}

// partOf is that of the signal of a name, where the sensors of the banks are these.
func partOf(name string, banks [2]decode.SensorID) part {
	for i, id := range banks {
		switch name {
		case id.LongTrim():
			return part{isLong, uint8(i)}
		case id.Trim(), id.TrimBeside():
			return part{isShort, uint8(i)}
		case id.Voltage():
			return part{isVolts, uint8(i)}
		case id.Ratio():
			return part{isRatio, uint8(i)}
		}
	}
	return part{role: map[string]role{"MAF": isFlow, "RPM": isSpeed, "LOAD_PCT": isLoad, "MAP": isPressure, "IAT": isIntake, "EVAP_PCT": isPurge,
		"BARO": isOutside, "VSS": isRoadSpeed}[name]}
}

func (g *gauge) add(is role, at, v float32) {
	switch is {
	case isLong:
		g.long = v
	case isShort:
		g.short = v
		g.trims = thin(g.trims, reading{at, float32(decode.TotalTrim(float64(g.short), float64(g.long)))})
	case isVolts:
		g.volts = thin(g.volts, reading{at, v})
	}
}

// thin appends unless the last one is nearer than often.
func thin(all []reading, r reading) []reading {
	if n := len(all); n > 0 && r.at < all[n-1].at+often {
		return all
	}
	return append(all, r)
}

// within are the readings of a stretch of time.
func within(all []reading, from, to float64) []reading {
	i, _ := slices.BinarySearchFunc(all, from, func(r reading, t float64) int { return cmp.Compare(float64(r.at), t) })
	j := i
	for j < len(all) && float64(all[j].at) <= to {
		j++
	}
	return all[i:j]
}

func mid(all []reading) float64 {
	v := make([]row, len(all))
	for i, r := range all {
		v[i].trim = r.v
	}
	return median(v, trim)
}

// both returns the forces that reached both banks; expected is by how much propane should have moved trim in a hold, %.
func (c *Collector) both(holds []Hold, mixture bool, expected func(Hold) float64) (out []Both) {
	for _, h := range holds {
		if h.To-h.From < shortest {
			continue
		}
		held := [2]float64{h.From, h.From}
		b := Both{Rich: h.Rich, Wire: !mixture}
		if b.Wire {
			var ok bool
			if held[1], ok = c.otherHeld(h); !ok {
				continue
			}
		}
		ok := true
		for i := range c.banks {
			want := math.NaN()
			if mixture && h.Rich {
				want = expected(h)
			}
			var m BankMoved
			m, ok = c.banks[i].moved(h, held[i], slices.Min(held[:]), want)
			m.Bank = c.number[i]
			b.Banks[i] = m
			if !ok {
				break
			}
		}
		if ok {
			b.Says = b.like()
			out = append(out, b)
		}
	}
	return out
}

// otherHeld finds since when the other bank's wire was held on the same side at the same level as the watched one.
func (c *Collector) otherHeld(h Hold) (float64, bool) {
	level := mid(within(c.banks[0].volts, h.To-settledFor, h.To))
	all := within(c.banks[1].volts, h.From-lookBack, h.To)
	for i := range all {
		if math.Abs(float64(all[i].v)-level) > likeHold {
			continue
		}
		j, lo, hi := i, all[i].v, all[i].v
		for ; j < len(all); j++ {
			lo, hi = min(lo, all[j].v), max(hi, all[j].v)
			if hi-lo > flat {
				break
			}
		}
		from := float64(all[i].at)
		alive := slices.ContainsFunc(within(c.banks[1].volts, from-wasOther, from), func(r reading) bool { return (r.v > 0.45) != h.Rich })
		if j-i >= fewRows && float64(all[j-1].at)-from >= flatFor && alive {
			return from, true
		}
	}
	return 0, false
}

// moved is how a bank's trim answered; first is when anything was held at all.
func (g *gauge) moved(h Hold, held, first, want float64) (BankMoved, bool) {
	m := BankMoved{Held: held, Gain: math.NaN(), AfterMin: math.NaN(), AfterMax: math.NaN()}
	rest, end := within(g.trims, first-restFor, first-0.5), within(g.trims, h.To-settledFor, h.To)
	if len(rest) < fewRows || len(end) < 2 {
		return m, false
	}
	m.Before = mid(rest)
	m.Moved = 100 * Moved(m.Before, mid(end))
	if !math.IsNaN(want) {
		m.Gain = m.Moved / want
	}
	lo, hi := rest[0].v, rest[0].v
	for _, r := range rest {
		lo, hi = min(lo, r.v), max(hi, r.v)
	}
	last := float64(rest[len(rest)-1].at)
	for _, r := range within(g.trims, last, h.To) {
		if h.Rich && r.v < lo-1.5*decode.TrimCount || !h.Rich && r.v > hi+1.5*decode.TrimCount {
			m.AfterMin, m.AfterMax = last-held, float64(r.at)-held
			break
		}
		last = float64(r.at)
	}
	return m, true
}

// like says how the two answered.
func (b *Both) like() Likeness {
	own, other := b.Banks[0], b.Banks[1]
	if !b.Wire {
		more, lesser := own, other
		if math.Abs(other.Moved) > math.Abs(own.Moved) {
			more, lesser = other, own
		}
		switch share := lesser.Moved / more.Moved; {
		case math.Abs(more.Moved) < leastMoved || !more.answered():
			return NotTold
		case share < silent:
			return OneSilent
		case share < less:
			return OneLess
		}
		return Alike
	}
	if math.Abs(b.Apart()) < atOnce || !own.answered() || !other.answered() {
		return NotTold
	}
	early, late := own, other
	if b.Apart() < 0 {
		early, late = other, own
	}
	apart := math.Abs(b.Apart())
	switch {
	case early.AfterMax < apart && late.AfterMin > -0.5:
		return EachItsOwn
	case early.AfterMin > apart-0.5 && late.AfterMax < 0:
		return Crossed
	}
	return NotTold
}
