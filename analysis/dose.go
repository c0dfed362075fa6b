package analysis

import "math"

// store weighs what the sensor behind the catalyst reads while trim is away: a mixture that follows trim passes once the
// oxygen that the catalyst stores has gone or come, and stays; one that does not goes on as at rest. No single reading decides,
// for at rest that sensor may wander from side to side.
type store struct {
	restOn, rest float64              // readings at rest on the side that it must go to, and all
	passes       [len(stores)]float64 // ln p(what it read since the force began | the catalyst stores so much)
	goesOn       float64              // ln p(the same | as at rest)
	at           float64              // s: when a reading was counted last
}

// stores are what catalysts hold, g of oxygen, each as likely (a borderline one below 0.03, a fresh one 2).
var stores = [...]float64{0.03, 0.06, 0.12, 0.25, 0.5, 1, 2}

// strayed is how often the sensor behind a catalyst reads other than the mixture there: an indicative share.
const strayed = 0.05

// muteOdds is ln of the odds from which the mixture is said not to have followed.
const muteOdds = 4.6

func (s *store) rested(on bool) {
	s.rest++
	if on {
		s.restOn++
	}
}

// addVolts takes a reading at t after so many grams; what only leans to the side says neither. Readings within a second of
// each other say the same.
func (s *store) addVolts(t, grams float64, on, leans bool) {
	if t-s.at < 1 || leans && !on {
		return
	}
	s.at = t
	p := (s.restOn + 0.5) / (s.rest + 1)
	if !on {
		p = 1 - p
	}
	s.goesOn += math.Log(p)
	for i, holds := range stores {
		if on == (grams > holds) {
			s.passes[i] += math.Log(1 - strayed)
		} else {
			s.passes[i] += math.Log(strayed)
		}
	}
}

// undelivered are the log odds, by what was read, that the mixture did not follow trim.
func (s *store) undelivered() float64 {
	return s.goesOn - logSum(s.passes[:]...) + math.Log(float64(len(stores)))
}

// Dose is how much oxygen one force has brought to a catalyst, or taken from it, until the sensor behind it
// followed: what it gave or took. A finding, never a verdict: where the store stood before nobody knows.
type Dose struct {
	At       float64 // s: when the force began
	Side     Side    // of the force: held lean, the loop's fuel takes oxygen out; held rich, its lean mixture puts it in
	Grams    float64 // g of oxygen, until the sensor behind followed, or in all where it did not
	Passed   bool    // it followed
	FromFull bool    // it lay on the other side before, so the store was full, or empty
	Metered  bool    // air flow was read; else it is the least that an engine takes
}

// leastDose is less than counts, g: air flow and trim are not read so well.
const leastDose = 0.05

// Doses are those of the session's forces, in order of time; none of a force that moved trim too little to tell, by
// mixture, or without a sensor behind the catalyst.
func (w *Watcher) Doses() (out []Dose) {
	for _, f := range w.forces {
		d := &f.down
		if f.loose || !d.seen || d.n < 3 || d.blind || d.most < 10 || !f.firm() {
			continue
		}
		x := Dose{At: f.begin, Side: f.side, Grams: d.oxygen, Passed: d.answered, Metered: w.air.maf > 0}
		if d.answered {
			x.Grams = d.passed
		}
		x.FromFull = d.hasBase && (d.side == Rich && d.baseHigh < 0.30 || d.side == Lean && d.baseLow > 0.60)
		if x.Grams >= leastDose {
			out = append(out, x)
		}
	}
	return out
}
