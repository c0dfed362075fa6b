// Package reason names why something is said: codes, with the figures that their sentences take.
// It has no sentences, which stand where people read them. In JSON a reason is its sentence: it can
// be written once it is told in words ([Told]), and what is read, from a session that an older version
// stored too, is the sentence that was written.
package reason

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"

	"pushback/analysis/hazard"
)

// Code names a sentence, or a part of one.
type Code string

// Clause is one of the sentences, or parts of one, that make a reason.
type Clause struct {
	Code    Code
	Figures []any         // as they are named beside the code; a reason among them is read as it stands
	Hazards []hazard.Kind // of this case, beside those of the code
}

// Reason is why something is said, or what is advised: clauses that are read one after the other.
type Reason []Clause

// Interval is a time that lies between two, s.
type Interval struct{ Lo, Hi float64 }

// Chance is a probability.
type Chance float64

// Conditions is how many conditions of driving.
type Conditions int

// Codes of any kind.
const (
	Told    Code = "told"    // the text
	Because Code = "because" // what follows asks for it
)

// Of makes a reason of the code and the figures named beside it.
func (c Code) Of(figures ...any) Reason { return Reason{{Code: c, Figures: figures}} }

// And adds a clause.
func (r Reason) And(c Code, figures ...any) Reason {
	return append(slices.Clip(r), Clause{Code: c, Figures: figures})
}

// Then adds what another says.
func (r Reason) Then(other Reason) Reason { return append(slices.Clip(r), other...) }

// For adds what is open and asks for it; nothing, if nothing does.
func (r Reason) For(why Reason) Reason {
	if len(why) == 0 {
		return r
	}
	return r.And(Because).Then(why)
}

// With adds hazards that only this case has.
func (r Reason) With(h ...hazard.Kind) Reason {
	out := slices.Clone(r)
	if last := len(out) - 1; last >= 0 {
		out[last].Hazards = append(slices.Clip(out[last].Hazards), h...)
	}
	return out
}

// Has reports whether one of the clauses has the code.
func (r Reason) Has(code Code) bool {
	return slices.ContainsFunc(r, func(c Clause) bool { return c.Code == code })
}

// Same reports whether two come to the same.
func (r Reason) Same(other Reason) bool {
	return slices.EqualFunc(r, other, func(a, b Clause) bool {
		return a.Code == b.Code && reflect.DeepEqual(a.Figures, b.Figures) && slices.Equal(a.Hazards, b.Hazards)
	})
}

// MarshalJSON writes the sentence of a reason that was told. Special cases are: no reason is an empty
// text; one that was not told is an error, since nobody here knows its sentence.
func (r Reason) MarshalJSON() ([]byte, error) {
	text := ""
	switch {
	case len(r) == 1 && r[0].Code == Told:
		text, _ = r[0].Figures[0].(string)
	case len(r) > 0:
		return nil, fmt.Errorf("write reason %q: it was not put in words", r[0].Code)
	}
	return json.Marshal(text)
}

// UnmarshalJSON reads a sentence as one that was told.
func (r *Reason) UnmarshalJSON(b []byte) error {
	var text string
	if err := json.Unmarshal(b, &text); err != nil {
		return err
	}
	*r = nil
	if text != "" {
		*r = Told.Of(text)
	}
	return nil
}
