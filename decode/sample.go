package decode

import "time"

// Signal is one physical quantity that a vehicle reports, as SAE J1979 names it.
type Signal struct {
	Name       string  // the standard's short name: O2S11, SHRTFT1, RPM
	Unit       string  // V, %, rpm, °C, kPa, g/s, km/h, km, s, min, mA, °, L/h, 1 (a ratio), or "" for bit fields and codes
	Min, Max   float64 // what the scaling can express
	Resolution float64 // one count
	Service    byte    // 01, or the service that carries it
	// PID carries the signal. That of an oxygen sensor depends on the car's layout
	// (see [Sensor]); here it is the one of the two-bank layout where there is one.
	PID    byte
	What   string // in words, for lists
	Source string // where the formula is from
	Number int    // its place among [Signals], from 1; 0: it is none of them
}

// Roles says what each signal is to somebody, who is asked by its name once: samples come by the million.
type Roles[R any] struct {
	named func(name string) R
	all   []known[R] // by Number
}

type known[R any] struct {
	role R
	is   bool
}

// NewRoles makes roles that named gives.
func NewRoles[R any](named func(name string) R) Roles[R] {
	return Roles[R]{named, make([]known[R], 1+len(index.signals))}
}

// Of is the role of a signal.
func (r *Roles[R]) Of(s *Signal) R {
	if k := r.all[s.Number]; k.is {
		return k.role
	}
	return r.ask(s)
}

// ask is apart so that Of is short enough for the compiler to put it in place of its calls.
func (r *Roles[R]) ask(s *Signal) R {
	role := r.named(s.Name)
	if s.Number > 0 {
		r.all[s.Number] = known[R]{role, true}
	}
	return role
}

// Sample is one value of one signal, or the fact that it was asked for and did
// not come.
type Sample struct {
	Signal *Signal
	// Sent and Received bracket the moment at which the car measured the value;
	// offsets from the session's start.
	Sent, Received time.Duration
	Value          float64 // in Signal.Unit; status bytes as numbers
	Missing        bool    // asked for, no (believable) answer; Value is 0
}
