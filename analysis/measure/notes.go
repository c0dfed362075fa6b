package measure

import (
	"regexp"
	"strconv"
	"strings"
)

var (
	propaneNote      = regexp.MustCompile(`(?i)\bpropane\s+(\d{1,3}(?:[.,]\d{1,4})?)\s*(?:l/min|lpm)\b`)
	displacementNote = regexp.MustCompile(`(?i)\bdisplacement\s+(\d{1,2}(?:[.,]\d{1,4})?)\s*(?:l|litres?|liters?)\b`)
)

// What a note may say, at most: a torch gives some 10 L/min; no car's engine has more litres.
const (
	mostPropane = 30.0
	mostLitres  = 20.0
)

// PropaneNote reads a flow of propane, L/min, out of a technician's note ('propane 0.3 L/min'); false
// where it says none, or one that cannot be.
//
// Special cases are: of several the first counts; a comma is a point; 0, and more than 30, cannot be.
func PropaneNote(text string) (float64, bool) { return said(propaneNote, text, mostPropane) }

// DisplacementNote reads an engine's displacement, litres ('displacement 2.0 L'); false as above.
func DisplacementNote(text string) (float64, bool) { return said(displacementNote, text, mostLitres) }

func said(form *regexp.Regexp, text string, most float64) (float64, bool) {
	m := form.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	v, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	return v, err == nil && v > 0 && v <= most
}
