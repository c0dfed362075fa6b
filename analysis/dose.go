package analysis

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
