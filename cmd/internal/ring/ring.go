// Package ring is the drawing that stands for the whole test: signal wire,
// computer, fuel command, exhaust and sensor joined by arcs, each of which fills as
// it is proven, breaks when it failed, or stays open. Terminal, page and report
// draw the same ring from here. It is pure.
package ring

import "pushback/analysis"

// An Arc is one proof as it is drawn.
type Arc struct {
	ID      analysis.ProofID
	State   analysis.State
	Testing bool    // what happens on the car now tests it, and it is not decided
	Fill    float64 // 0 to 1: how much of the arc is drawn as shown
}

// A Ring holds the arcs in analysis.ProofOrder, and last the scale's, which a wide-range sensor has alone: of another it has no ID.
type Ring [len(analysis.ProofOrder) + 1]Arc

// New returns a ring of which nothing is shown.
func New() Ring {
	var r Ring
	for i, id := range analysis.ProofOrder {
		r[i] = Arc{ID: id, State: analysis.Untested}
	}
	return r
}

// Arcs are those that this ring has.
func (r *Ring) Arcs() []Arc {
	if r.HasScale() {
		return r[:]
	}
	return r[:len(analysis.ProofOrder)]
}

// AddScale gives the ring the arc that a wide-range sensor has.
func (r *Ring) AddScale() {
	if a := &r[len(analysis.ProofOrder)]; a.ID == "" {
		*a = Arc{ID: analysis.ProofScale, State: analysis.Untested}
	}
}

// HasScale reports whether it is the ring of a wide-range sensor.
func (r *Ring) HasScale() bool { return r[len(analysis.ProofOrder)].ID != "" }

// Of returns the ring of a verdict.
func Of(v analysis.Verdict) Ring {
	r := New()
	r.Take(v)
	return r
}

// Take fills the ring from a verdict. What is being tested stays marked so.
func (r *Ring) Take(v analysis.Verdict) {
	for _, p := range v.Proofs {
		if p.ID == analysis.ProofScale {
			r.AddScale()
		}
		if a := r.Arc(p.ID); a != nil {
			a.State = p.State
		}
	}
	r.settle()
}

// Arc returns the arc of a proof, nil when the ring has none.
func (r *Ring) Arc(id analysis.ProofID) *Arc {
	for i := range r {
		if r[i].ID == id {
			return &r[i]
		}
	}
	return nil
}

// Test marks which arcs are being tested: these and no others.
func (r *Ring) Test(ids ...analysis.ProofID) {
	for i := range r {
		r[i].Testing = false
	}
	for _, id := range ids {
		if a := r.Arc(id); a != nil {
			a.Testing = true
		}
	}
	r.settle()
}

// Progress says how far the measure of an arc under test has come, 0 to 1. It never
// fills the arc: only a proof does.
func (r *Ring) Progress(id analysis.ProofID, part float64) {
	if a := r.Arc(id); a != nil && a.Open() {
		a.Fill = max(0, min(part, 0.9))
	}
}

// Open reports that the arc is under test and not decided: an unclear arc that is
// being tested again counts as open.
func (a Arc) Open() bool {
	return a.Testing && (a.State == analysis.Untested || a.State == analysis.Unclear)
}

func (r *Ring) settle() {
	for i := range r {
		a := &r[i]
		switch {
		case a.Open():
		case a.State == analysis.Untested:
			a.Fill = 0
		default:
			a.Fill = 1
		}
	}
}

// Side is the side that an arc is of: the fuel command and the sensor have an arc
// for each.
func Side(id analysis.ProofID) analysis.Side {
	switch id {
	case analysis.ProofAddsFuel, analysis.ProofSensorLean:
		return analysis.Lean
	case analysis.ProofCutsFuel, analysis.ProofSensorRich:
		return analysis.Rich
	}
	return ""
}
