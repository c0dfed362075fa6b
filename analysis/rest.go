package analysis

import (
	"pushback/analysis/limits"
	"pushback/analysis/recent"
)

// restContradiction watches for a standing contradiction while nobody forces anything:
// trim stands far out, the forced sensor never leaves one side, and the downstream
// sensor says the opposite of it. Then the mixture has followed and the sensor
// lies. If both say the same, the mixture is really there, or does not follow.
type restContradiction struct {
	sideSince float64
	side      Side
	farSince  float64 // trim has been 15 % or more away, on one side, since
	farSign   float64
	downSince float64
	downSide  Side
	mute      [2]float64 // s of contradiction, by the side that the sensor should say
	trimThen  [2]float64
	muteAt    [2]float64 // s: when it was counted last
	haveVolts bool
	heldSince float64 // s; 0: not held
	sideAt    float64 // the last reading on a side
	haveTrim  bool
	haveDown  bool
}

func (r *restContradiction) addVolts(p recent.Reading) {
	s := sideOf(p.V)
	if p.V > limits.NeutralLow && p.V < limits.NeutralHigh {
		s = "" // hangs at the bias: says neither
	}
	if r.heldSince > 0 {
		r.without(r.heldSince, p.T())
		r.heldSince = 0
	}
	if s == "" && r.haveVolts && p.T()-r.sideAt < 2 {
		return // a breath back from the side
	}
	if s != "" {
		r.sideAt = p.T()
	}
	if s != r.side || !r.haveVolts {
		r.side, r.sideSince, r.haveVolts = s, p.T(), true
	}
}

// forced says that the reading at time t is held: it is not the sensor's, and counts nothing.
func (r *restContradiction) forced(t float64) {
	if r.heldSince == 0 {
		r.heldSince = t
	}
}

// wasForced says at time now that since the moment t the reading was held, which nobody knew then.
func (r *restContradiction) wasForced(t, now float64) {
	if r.heldSince > 0 {
		now = r.heldSince
	}
	for i := range r.mute {
		if r.muteAt[i] > t {
			r.mute[i] = max(0, r.mute[i]-(r.muteAt[i]-t))
		}
	}
	r.without(t, now)
}

// without takes the time out in which the reading was held: what was there before lasts for as much less, what came meanwhile
// begins at its end.
func (r *restContradiction) without(from, to float64) {
	for _, since := range []*float64{&r.sideSince, &r.farSince, &r.downSince} {
		if *since < from {
			*since += max(to-from, 0)
		} else {
			*since = max(*since, to)
		}
	}
}

// addTrim takes total trim of the watched bank and of the other. Far out on opposite
// sides they say that the banks' sensors are crossed, and then the downstream sensor
// looks at another mixture than the forced one.
func (r *restContradiction) addTrim(t, v, other float64) {
	sign := 0.0
	if v >= enoughTrim && other > -10 {
		sign = 1
	} else if v <= -enoughTrim && other < 10 {
		sign = -1
	}
	if sign != r.farSign || !r.haveTrim {
		r.farSign, r.farSince, r.haveTrim = sign, t, true
	}
	r.count(t, v)
}

// addDown takes a downstream reading. In a balanced mixture that sensor rests between
// 0.5 and 0.7 V, which says neither.
func (r *restContradiction) addDown(p recent.Reading) {
	s := Side("")
	if p.V >= 0.75 {
		s = Rich
	} else if p.V <= 0.15 {
		s = Lean
	}
	if s != r.downSide || !r.haveDown {
		r.downSide, r.downSince, r.haveDown = s, p.T(), true
	}
}

// count notes for how long on end the readings have contradicted, or agreed. Trim
// that adds should make rich, trim that cuts should make lean.
func (r *restContradiction) count(t, trim float64) {
	if r.farSign == 0 || !r.haveDown || !r.haveVolts || r.heldSince > 0 {
		return
	}
	should := Rich
	if r.farSign < 0 {
		should = Lean
	}
	long := t - max(r.farSince, r.downSince, r.sideSince)
	if i := sideIndex(should); r.downSide == should && r.side != should && long > r.mute[i] {
		r.mute[i], r.trimThen[i], r.muteAt[i] = long, trim, t
	}
}

// contradicts reports whether the downstream sensor has shown for long enough that
// the mixture was on the side while the forced sensor did not say so.
func (r *restContradiction) contradicts(side Side) bool { return r.mute[sideIndex(side)] >= enoughTime }
