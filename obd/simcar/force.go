package simcar

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ForceKind is what the technician does.
type ForceKind string

const (
	ForceLean    ForceKind = "lean"    // joins the signal wire to the sensor return
	ForceRich    ForceKind = "rich"    // feeds the signal wire from a source
	ForcePropane ForceKind = "propane" // adds fuel to the intake air
	ForceVacuum  ForceKind = "vacuum"  // takes a vacuum hose off
	ForceOpen    ForceKind = "open"    // opens the sensor's branch at the harness box, nothing touched
	ForceRev     ForceKind = "rev"     // holds 2700 rpm; its end is the throttle let go, and the fuel cut
	ForceCoast   ForceKind = "coast"   // on the road: cruises, then coasts in gear with the throttle closed
	ForcePull    ForceKind = "pull"    // on the road: full load for some seconds
	ForceSnap    ForceKind = "snap"    // the throttle snapped open and let go at 4000 rpm; it lasts about a second
)

// Wire reports whether the force acts on the signal wire, not on the mixture.
func (k ForceKind) Wire() bool { return k == ForceLean || k == ForceRich }

// sort tells what can be done at the same time: one of each.
func (f Force) sort() int {
	switch {
	case f.Kind.Wire() && f.Beside:
		return 5
	case f.Kind.Wire():
		return 1
	case f.Kind == ForceOpen && f.Beside:
		return 6
	case f.Kind == ForceOpen:
		return 2
	case f.Kind == ForceRev, f.Kind == ForceSnap, f.Kind == ForceCoast, f.Kind == ForcePull:
		return 4
	}
	return 3
}

// Force is one action of the technician.
type Force struct {
	Kind  ForceKind
	At    time.Duration // from the start of the simulation
	For   time.Duration // how long; 0: until Release
	Ohms  float64       // in series with the tap; 0: 600 for rich, 0.5 for lean
	Volts float64       // of the rich source; 0: 0.9
	// Percent is how much fuel propane adds, or air a vacuum leak lets in, of the
	// idle airflow; 0: 12.
	Percent float64
	Ramp    time.Duration // a propane valve opens and shuts in; 0: at once, but for some tenths of a second
	Shaky   bool          // the contact is held by a trembling hand
	Beside  bool          // on the wire of the other bank's upstream sensor
}

// Ends returns when the force ends; far in the future when For is 0.
func (f Force) Ends() time.Duration {
	if f.For == 0 {
		return 1<<63 - 1
	}
	return f.At + f.For
}

func (f Force) ohms() float64 {
	switch {
	case f.Ohms > 0:
		return max(f.Ohms, 0.01)
	case f.Kind == ForceRich:
		return 600 // 1.0 kohm over 1.5 kohm across a 1.5 V cell: 0.90 V behind 600 ohm
	}
	return 0.5
}

func (f Force) volts() float64 {
	switch {
	case f.Kind == ForceLean:
		return 0
	case f.Volts > 0:
		return f.Volts
	}
	return 0.9
}

func (f Force) percent() float64 {
	if f.Percent > 0 {
		return f.Percent
	}
	return 12
}

// Validate reports a value that no technician's force could have.
func (f Force) Validate() error {
	switch f.Kind {
	case ForceLean, ForceRich, ForcePropane, ForceVacuum, ForceOpen, ForceRev, ForceSnap, ForceCoast, ForcePull:
	default:
		return fmt.Errorf("force kind %q: want lean, rich, propane, vacuum, open, rev or snap", f.Kind)
	}
	switch {
	case f.At < 0 || f.For < 0 || f.At > maxForceTime || f.For > maxForceTime:
		return fmt.Errorf("force %s: want a time between 0 and %v", f.Kind, maxForceTime)
	case !(f.Ohms >= 0 && f.Ohms <= 1e7):
		return fmt.Errorf("force %s: want 0 to 10 Mohm", f.Kind)
	case !(f.Volts >= 0 && f.Volts <= 1.5):
		return fmt.Errorf("force %s: want 0 to 1.5 V", f.Kind)
	case f.Ramp < 0 || f.Ramp > time.Minute:
		return fmt.Errorf("force %s: want a ramp of 0 to 60 s", f.Kind)
	case !(f.Percent >= 0 && f.Percent <= 100):
		return fmt.Errorf("force %s: want 0 to 100 %%", f.Kind)
	}
	return nil
}

const maxForceTime = 1000 * time.Hour

// ParseForce reads a force written as KIND@AT+FOR, with options after a colon:
// "lean@20s+12s", "rich@45s+12s:0.9V,600ohm", "propane@20s+15s:12%",
// "lean@20s+12s:shaky", "rich@25s+10s:other" (the other bank's wire). Without +FOR the force lasts until it is released.
func ParseForce(s string) (Force, error) {
	bad := func(what, v string) (Force, error) {
		return Force{}, fmt.Errorf("parse force %q: %s %q, want KIND@AT+FOR[:OPTIONS] such as lean@20s+12s", s, what, v)
	}
	head, options, hasOptions := strings.Cut(s, ":")
	kind, when, ok := strings.Cut(head, "@")
	if !ok {
		return bad("no time in", head)
	}
	at, length, hasLength := strings.Cut(when, "+")
	f := Force{Kind: ForceKind(kind)}
	var err error
	if f.At, err = time.ParseDuration(at); err != nil {
		return bad("start", at)
	}
	if hasLength {
		if f.For, err = time.ParseDuration(length); err != nil || f.For <= 0 {
			return bad("length", length)
		}
	}
	if hasOptions {
		for o := range strings.SplitSeq(options, ",") {
			if !f.option(o) {
				return bad("option", o)
			}
		}
	}
	if err := f.Validate(); err != nil {
		return Force{}, fmt.Errorf("parse force %q: %w", s, err)
	}
	return f, nil
}

// option reads one option into f.
func (f *Force) option(o string) bool {
	switch o {
	case "shaky":
		f.Shaky = true
		return true
	case "other":
		f.Beside = true
		return f.Kind.Wire()
	}
	for _, unit := range []struct {
		suffix string
		to     *float64
		ok     bool
	}{
		{"ohm", &f.Ohms, f.Kind.Wire()},
		{"V", &f.Volts, f.Kind == ForceRich},
		{"%", &f.Percent, f.sort() == 3},
	} {
		if number, found := strings.CutSuffix(o, unit.suffix); found && unit.ok {
			v, err := strconv.ParseFloat(number, 64)
			*unit.to = v
			return err == nil && v > 0
		}
	}
	return false
}
