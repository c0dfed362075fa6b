package heldout

import (
	"slices"
	"strings"
)

// proofs in the order of the README; sensor_scale is asked of wide-range sensors alone.
var proofs = []string{"input", "adds_fuel", "cuts_fuel", "delivery", "sensor_rich", "sensor_lean", "bank", "recovery", "sensor_scale"}

// arcs are the links of a ring, by their proofs, that are bad, and those that a test by this means can't
// tell apart from their neighbours. All others are good.
type arcs struct{ bad, open string }

const behindInput = "adds_fuel cuts_fuel delivery sensor_rich sensor_lean bank recovery"

var narrowArcs = map[string]arcs{
	slow:       {"", "sensor_rich sensor_lean recovery"}, // late or little: either word is right
	shifted:    {"", "sensor_rich sensor_lean recovery"},
	exhaust:    {"", "recovery"},
	deadLean:   {"sensor_rich", "sensor_lean recovery delivery"},
	deadRich:   {"sensor_lean", "sensor_rich recovery delivery"},
	deadBias:   {"sensor_rich sensor_lean", "recovery delivery"},
	inputOpen:  {"input", behindInput},
	inputShort: {"input", behindInput},
	silent:     {"adds_fuel cuts_fuel", "delivery bank recovery"},
	broken:     {"adds_fuel cuts_fuel", "delivery bank recovery"},
	limited:    {"", "recovery"},
	undelivery: {"delivery", "recovery sensor_rich sensor_lean"},
	crossed:    {"bank", "input adds_fuel cuts_fuel delivery sensor_rich sensor_lean recovery"},
	cold:       {"", "adds_fuel cuts_fuel recovery delivery"},
}

var wideArcs = map[string]arcs{
	gain:       {"sensor_scale", "delivery sensor_rich sensor_lean recovery"},
	offset:     {"", "sensor_scale sensor_rich sensor_lean"},
	exhaust:    {"", "sensor_scale sensor_rich sensor_lean"},
	late:       {"", "sensor_scale sensor_rich sensor_lean recovery delivery"},
	open:       {"sensor_rich sensor_lean sensor_scale", "input adds_fuel cuts_fuel delivery bank recovery"},
	silent:     {"adds_fuel cuts_fuel", "delivery recovery bank sensor_scale"},
	limited:    {"", "recovery sensor_scale"},
	undelivery: {"delivery", "recovery sensor_scale"},
	crossed:    {"bank", "delivery recovery sensor_scale adds_fuel cuts_fuel"},
	cold:       {"", "adds_fuel cuts_fuel delivery recovery sensor_scale"},
}

// falsify fills in what it would be false to claim.
func (j *judge) falsify(a arcs) {
	b := j.car.banks[0]
	// A computer that lets go, or pauses, does not answer, and is right to be told so.
	if b.quits != staysOn || b.pauses > 0 {
		a.open += " adds_fuel cuts_fuel recovery"
	}
	for _, h := range j.holds {
		if h.wire != 0 && j.Fault != crossed { // what is watched does not follow, and the other bank answers
			a.open += " bank input adds_fuel cuts_fuel"
		}
		if h.closed > 3 {
			a.open += " sensor_rich sensor_lean recovery"
		}
	}
	j.False = map[string][]string{}
	bad, open := strings.Fields(a.bad), strings.Fields(a.open)
	for _, p := range proofs {
		switch {
		case slices.Contains(bad, p):
			j.False[p] = []string{"proven"}
		case !slices.Contains(open, p):
			j.False[p] = []string{"failed"}
		}
	}
}
