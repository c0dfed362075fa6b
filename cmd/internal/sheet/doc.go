// Package sheet prints a dossier, or a part of it: as text for a terminal, and in the JSON that
// other programs rely on. It works nothing out; sentences are of package words.
package sheet

import (
	"encoding/json"
	"math"
)

// Number is a float in JSON that may be unknown: NaN and infinity are null. It is rounded to four
// decimals.
type Number float64

// UnmarshalJSON reads null as NaN.
func (n *Number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = Number(math.NaN())
		return nil
	}
	return json.Unmarshal(b, (*float64)(n))
}

// MarshalJSON writes what is not known as null.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(math.Round(float64(n)*1e4) / 1e4)
}

// list makes an empty list of nil, for JSON.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// each makes the JSON of every element; an empty list where there is none.
func each[T, J any](in []T, of func(T) J) []J {
	out := make([]J, len(in))
	for i, x := range in {
		out[i] = of(x)
	}
	return out
}
