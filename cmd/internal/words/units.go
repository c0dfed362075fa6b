package words

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"sync/atomic"
)

// Units are those that people read. What other programs read is always in the standard's.
type Units int32

const (
	US Units = iota // °F, mph, inHg
	SI              // °C, km/h, kPa
)

// ErrUnits says that units have another name.
var ErrUnits = errors.New("units are us (°F, mph, inHg) or si (°C, km/h, kPa)")

var inUse atomic.Int32

// Use sets the units of all that is said from now on, by name.
func Use(name string) error {
	switch name {
	case "us", "":
		inUse.Store(int32(US))
	case "si":
		inUse.Store(int32(SI))
	default:
		return fmt.Errorf("%q: %w", name, ErrUnits)
	}
	return nil
}

// InUse is the name of the units in use.
func InUse() string {
	if Units(inUse.Load()) == SI {
		return "si"
	}
	return "us"
}

var measuredIn = regexp.MustCompile(`(-?[0-9]+(?:\.[0-9]+)?)(?: to (-?[0-9]+(?:\.[0-9]+)?))? (°C|km/h|kPa)`)

// converted is how one of the standard's units is read in the US, by 1.8 °F a kelvin, 1.609344 km a
// mile and 3.386389 kPa an inch of mercury at 0 °C (NIST SP 811, B.8).
var converted = map[string]struct {
	unit       string
	scale, add float64
}{"°C": {"°F", 1.8, 32}, "km/h": {"mph", 1 / 1.609344, 0}, "kPa": {"inHg", 1 / 3.386389, 0}}

// InUnits is a text of ours whose temperatures, speeds and pressures are in the units in use.
func InUnits(text string) string {
	if Units(inUse.Load()) == SI {
		return text
	}
	return measuredIn.ReplaceAllStringFunc(text, func(s string) string {
		m := measuredIn.FindStringSubmatch(s)
		to := converted[m[3]]
		of := func(s string) string {
			v, _ := strconv.ParseFloat(s, 64) // digits: matched
			v = v*to.scale + to.add
			if to.unit == "inHg" {
				return strconv.FormatFloat(v, 'f', 1, 64)
			}
			return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
		}
		if m[2] != "" {
			return of(m[1]) + " to " + of(m[2]) + " " + to.unit
		}
		return of(m[1]) + " " + to.unit
	})
}
