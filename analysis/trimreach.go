package analysis

// A TrimReach is how far short-term trim was read at any time of a session, forced or not. The zero value has read nothing.
type TrimReach struct{ span }

// Add takes a reading, %.
func (r *TrimReach) Add(v float64) { r.add(v) }

// Farthest is how far trim was read against a force of the side, %.
func (r *TrimReach) Farthest(side Side) float64 {
	if side == Rich {
		return -r.lo
	}
	return r.hi
}

// Able reports whether trim was read where a computer that does not command the side never brings it: moved by two counts, and beyond its
// middle by so much. Such a fault lasts, so what kept trim still in a force was something else: a pause, or a sensor that was let go of.
func (r *TrimReach) Able(side Side, beyond float64) bool {
	return r.known && r.Farthest(side) >= beyond && r.hi-r.lo >= 2*trimCount-roundoff
}
