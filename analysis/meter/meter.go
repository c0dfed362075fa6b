// Package meter holds what a technician reads from a meter beside the scan data against what is usual, with the
// source of that. The maker's own figure comes before any of them. The package is pure.
package meter

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"pushback/analysis/reason"
)

// Kind names what is measured, as people type it.
type Kind string

// The kinds.
const (
	Return   Kind = "return"   // sensor return to battery minus, engine running
	Heater   Kind = "heater"   // the sensor heater's resistance, cold, unplugged
	Pressure Kind = "pressure" // fuel pressure at the rail, port injection, at idle
	Supply   Kind = "supply"   // battery voltage at the heater's or the computer's feed, engine running
)

// Usual is what is usual of a kind.
type Usual struct {
	Kind      Kind
	What      string // in words
	Unit      string
	Low, High float64 // usual
	Most      float64 // beyond it no meter reading of this kind is one
	Source    string
	TooLow    reason.Code // the step to take
	TooHigh   reason.Code
}

// All are the kinds, in the order in which they are told.
var All = []Usual{
	{Return, "sensor return to battery minus", "V", -0.1, 0.1, 20, "a ground's drop of 0.1 V at most: common practice, no source",
		reason.ReturnBelow,
		reason.ReturnAbove},
	{Heater, "sensor heater, cold", "ohm", 2, 20, 1e6, "workshop texts give 3 ohm and 9.2 ohm at 20 °C: no one figure fits all",
		reason.HeaterShorted,
		reason.HeaterOpen},
	{Pressure, "fuel pressure, port injection at idle", "kPa", 200, 450, 30000, "2 to 4.5 bar for port injection: common practice, no source; direct injection has tens of times that",
		reason.SupplyWeak,
		reason.SupplyStrong},
	{Supply, "feed with the engine running", "V", 13, 14.8, 40, "charging at 13 to 14.8 V: common practice, no source; some makers' alternators rest at less",
		reason.FeedLow,
		reason.FeedHigh},
}

// Reading is one reading of a meter.
type Reading struct {
	Usual
	Value float64
}

// Side is -1 below what is usual, +1 above, else 0.
func (r Reading) Side() int {
	switch {
	case r.Value < r.Low:
		return -1
	case r.Value > r.High:
		return 1
	}
	return 0
}

// Step is what a reading that is not usual asks for; nil of a usual one.
func (r Reading) Step() reason.Reason {
	switch r.Side() {
	case -1:
		return r.TooLow.Of()
	case 1:
		return r.TooHigh.Of()
	}
	return nil
}

// prefix begins an entry that is a reading.
const prefix = "meter "

// Entry is a reading as a visit keeps it; [Read] reads it back.
func (r Reading) Entry() string {
	return prefix + string(r.Kind) + "=" + strconv.FormatFloat(r.Value, 'f', -1, 64) + " " + r.Unit
}

// Read reads an entry of a visit; false where it is none of a meter.
func Read(entry string) (Reading, bool) {
	text, is := strings.CutPrefix(entry, prefix)
	if !is {
		return Reading{}, false
	}
	r, err := Parse(text)
	return r, err == nil && r.Entry() == entry
}

// Parse reads what somebody typed: return=0.02, 'heater=5.5 ohm', pressure=40psi, pressure=2.8bar. The error says what is
// wrong with it.
func Parse(text string) (Reading, error) {
	name, value, found := strings.Cut(text, "=")
	var r Reading
	for _, u := range All {
		if string(u.Kind) == strings.ToLower(strings.TrimSpace(name)) {
			r.Usual = u
		}
	}
	if !found || r.Kind == "" {
		return r, fmt.Errorf("%q is no meter reading: want return, heater, pressure or supply, then = and its value", text)
	}
	value = strings.ToLower(strings.TrimSpace(value))
	number, unit := value, ""
	if i := strings.IndexFunc(value, func(c rune) bool { return !strings.ContainsRune("0123456789.,+-", c) }); i >= 0 {
		number, unit = value[:i], strings.TrimSpace(value[i:])
	}
	v, err := strconv.ParseFloat(strings.Replace(number, ",", ".", 1), 64)
	factor, fits := factors(r.Unit)[unit]
	switch {
	case err != nil || math.IsNaN(v):
		return r, fmt.Errorf("%q has no number", text)
	case !fits:
		return r, fmt.Errorf("%s is measured in %s, not in %q", r.What, r.Unit, unit)
	}
	r.Value = math.Round(v*factor*1e4) / 1e4
	if math.Abs(r.Value) > r.Most || r.Low >= 0 && r.Value < 0 {
		return r, fmt.Errorf("%s of %v %s is not possible", r.What, r.Value, r.Unit)
	}
	return r, nil
}

// factors are what the units that may be typed come to in a unit.
func factors(unit string) map[string]float64 {
	switch unit {
	case "kPa":
		return map[string]float64{"": 1, "kpa": 1, "bar": 100, "psi": 6.894757} // NIST SP 811
	case "V":
		return map[string]float64{"": 1, "v": 1, "mv": 1e-3}
	}
	return map[string]float64{"": 1, "ohm": 1, "ohms": 1, "ω": 1, "kohm": 1e3}
}

// Unusual are the readings that ask for a step, of entries in order of time: the last of each kind counts.
func Unusual(entries []string) (out []Reading) {
	last := map[Kind]Reading{}
	for _, e := range entries {
		if r, is := Read(e); is {
			last[r.Kind] = r
		}
	}
	for _, u := range All {
		if r, is := last[u.Kind]; is && r.Side() != 0 {
			out = append(out, r)
		}
	}
	return out
}
