package fourth

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// What a master technician would say of a recording, decided from what the car is and from
// what really happened in each hold. Names are those of the conclusions and proofs of the
// program's JSON.

// view is what there is to judge by.
type view struct {
	*spec
	holds                    []seen
	clearLean, clearRich     bool // a side that nobody could miss
	visibleLean, visibleRich bool
	triedLean, triedRich     bool
	openLater                bool // the branch was left open after some hold
	rear                     bool // the sensor behind the catalyst is read
	marked                   bool // well enough to go by
	tail                     float64
}

func (s *spec) truth(holds []seen) *truth.Test {
	v := &view{spec: s, holds: holds, rear: slices.Contains(s.port.slow, "O2S12"), marked: s.plan.marks == "well" || s.plan.marks == "late"}
	t := &truth.Test{Seed: s.seed, Rate: s.port.rate, Fault: s.fault, Style: s.plan.style + ", marks " + s.plan.marks, Marks: s.plan.marks != "none", Sensor: "B1S1"}
	for i := range holds {
		h := &holds[i]
		lean := h.side == "lean"
		clear, visible, tried := h.clear(s.port.rate) && !s.inGap(h), h.visible(), h.attempted()
		v.clearLean, v.clearRich = v.clearLean || lean && clear, v.clearRich || !lean && clear
		v.visibleLean, v.visibleRich = v.visibleLean || lean && visible, v.visibleRich || !lean && visible
		v.triedLean, v.triedRich = v.triedLean || lean && tried, v.triedRich || !lean && tried
		v.openLater = v.openLater || h.leftOpen
		v.tail = s.length - h.end
		f := truth.Force{Side: h.side, Begin: h.begin, End: h.end}
		if h.on >= 0.85 && !h.shaky {
			f.Commanded, f.Told = h.commanded, h.told
		}
		// An input that does not read the wire shows nothing of a hold.
		dead := s.inputs[0].open || !math.IsNaN(s.inputs[0].stuck) || s.computer.crossed == "harness"
		f.Faint = dead || h.on < 0.6 || h.end-h.begin < 3.5 || s.inGap(h)
		t.Forces = append(t.Forces, f)
	}
	t.Accepted, t.Undecided = v.conclusions()
	t.Undecided = slices.DeleteFunc(slices.Clone(t.Undecided), func(c string) bool { return slices.Contains(t.Accepted, c) })
	t.False = v.falseClaims()
	return t
}

// inGap reports whether nothing was read in part of the hold or just after it.
func (s *spec) inGap(h *seen) bool { return s.port.gap[1] > h.begin-2 && s.port.gap[0] < h.end+3 }

// shrug is what does not commit.
var shrug = []string{"unclear", "partly_proven", "nothing_forced", "not_ready"}

// conclusions are those that this car allows, and those that do not commit.
// Long because it has one answer for each fault.
func (v *view) conclusions() (accepted, undecided []string) {
	bothClear := v.clearLean && v.clearRich
	anyClear := v.clearLean || v.clearRich
	switch v.fault {
	case "sound", "leak within authority", "exhaust leak within authority":
		return v.soundCar()
	case "sensor stuck lean", "sensor stuck rich":
		accepted = []string{"sensor_dead"}
		if !v.rear || !v.heldAgainst() || v.cells[0].stuck < leakReads {
			accepted = append(accepted, "unclear")
		}
		if !v.triedLean || !v.triedRich {
			accepted = append(accepted, "partly_proven", "nothing_forced")
		}
		return accepted, shrug
	case "sensor open":
		accepted = []string{"sensor_dead"}
		if v.computer.biasMonitor {
			accepted = append(accepted, "not_ready")
		}
		if v.openLater || !v.held(6, 2) {
			accepted = append(accepted, "unclear", "nothing_forced", "partly_proven")
		}
		return accepted, shrug
	case "sensor slow":
		return v.slowSensor()
	case "sensor cold":
		return []string{"sensor_dead", "sensor_slow", "unclear", "not_ready", "partly_proven", "nothing_forced"}, []string{"loop_proven"}
	case "input stuck", "harness open":
		return v.deadInput()
	case "trim frozen":
		accepted = []string{"no_command"}
		if !v.silentTwice() || v.plan.marks != "none" && !v.marked {
			accepted = append(accepted, "unclear", "nothing_forced")
		}
		return accepted, shrug
	case "never adds", "never cuts":
		accepted = []string{"no_command", "unclear"}
		if v.fault == "never adds" && !v.triedLean || v.fault == "never cuts" && !v.triedRich {
			accepted = []string{"partly_proven", "unclear", "nothing_forced"}
		}
		if v.fault == "never adds" && v.moved("lean") > 0.05 || v.fault == "never cuts" && v.moved("rich") > 0.05 {
			// What was learned in the hold before came back to nothing: that looks like an answer.
			return append(accepted, "partly_proven"), append([]string{"loop_proven"}, shrug...)
		}
		return accepted, shrug
	case "fuel not delivered":
		accepted = []string{"no_delivery"}
		if !v.bigDose() {
			accepted = append(accepted, "unclear")
		}
		return accepted, shrug
	case "leak beyond authority", "exhaust leak beyond authority":
		return []string{"unclear", "partly_proven"}, shrug
	case "harness crossed", "command crossed":
		accepted = []string{"wrong_bank"}
		if !v.marked || !v.held(6, 1) || !v.othersSeen() {
			accepted = append(accepted, "unclear", "nothing_forced")
		}
		if !v.othersSeen() && v.fault == "harness crossed" {
			accepted = append(accepted, "input_dead") // which is all that this bank's readings tell
		}
		return accepted, shrug
	case "engine cold":
		return []string{"not_ready"}, shrug
	case quirkPause:
		accepted = []string{"unclear", "partly_proven"}
		if v.visibleLean && v.visibleRich {
			accepted = append(accepted, "loop_proven")
		}
		return accepted, shrug
	default: // a sound car whose computer lets go
		if bothClear {
			return v.soundCar()
		}
		accepted = []string{"unclear", "partly_proven"}
		if v.triedLean && v.triedRich {
			accepted = append(accepted, "loop_proven")
		}
		if !anyClear {
			accepted = append(accepted, "nothing_forced")
		}
		return accepted, shrug
	}
}

// soundCar is all that can be said where nothing is wrong with the ring.
func (v *view) soundCar() (accepted, undecided []string) {
	switch {
	case v.openLater:
		// What came after was not the sensor's word, and the loop ran without it.
		accepted = []string{"unclear", "partly_proven"}
		if !v.holds[0].leftOpen || len(v.holds) == 1 {
			return append(accepted, "nothing_forced"), append([]string{"loop_proven"}, shrug...)
		}
		return append(accepted, "nothing_forced"), shrug
	case v.clearLean && v.clearRich:
		return []string{"loop_proven"}, shrug
	case v.clearLean || v.clearRich:
		accepted = []string{"partly_proven"}
		if v.triedLean && v.triedRich {
			accepted = append(accepted, "loop_proven", "unclear")
		}
		return accepted, shrug
	}
	accepted = []string{"unclear", "partly_proven", "nothing_forced"}
	if v.triedLean && v.triedRich { // it is true of the car, whoever can see it
		accepted = append(accepted, "loop_proven")
	}
	return accepted, shrug
}

// leakReads is the most, V, that a live cell reads in the gas of an exhaust leak ahead of it, which is looked for before a sensor that
// only reads lean is condemned: λ 1.03 and more at 1100 K by Nernst's law make 85 mV, and the offset of some cells 25 mV more.
const leakReads = 0.11

// held reports whether n holds of at least so many seconds reached the computer.
func (v *view) held(seconds float64, n int) bool {
	for i := range v.holds {
		if h := &v.holds[i]; h.on >= 0.85 && h.end-h.begin >= seconds {
			n--
		}
	}
	return n <= 0
}

// heldAgainst reports whether the side that a stuck sensor does not show was held, so
// that the loop answered and the gas came.
func (v *view) heldAgainst() bool {
	for i := range v.holds {
		h := &v.holds[i]
		if against := v.fault == "sensor stuck lean" && h.side == "rich" || v.fault == "sensor stuck rich" && h.side == "lean"; against && h.on >= 0.85 && h.visible() {
			return true
		}
	}
	return false
}

// othersSeen reports whether the other bank's trim moved, and was read often enough to see it.
func (v *view) othersSeen() bool {
	every := 1 / v.port.rate
	if !v.port.together {
		every *= float64(v.port.each * len(v.port.slow))
	}
	for i := range v.holds {
		if h := &v.holds[i]; h.others > 0.05 && h.end-h.begin > 3*every {
			return true
		}
	}
	return false
}

// silentTwice reports whether two good holds, 30 s apart, brought no answer.
func (v *view) silentTwice() bool {
	first := math.Inf(1)
	for i := range v.holds {
		h := &v.holds[i]
		if h.on < 0.85 || h.end-h.begin < 8 {
			continue
		}
		if h.begin-first >= 30 {
			return true
		}
		first = min(first, h.begin)
	}
	return false
}

// bigDose reports whether a hold moved trim for long enough that fuel which was delivered
// would have been seen behind the catalyst.
func (v *view) bigDose() bool {
	for i := range v.holds {
		if h := &v.holds[i]; v.rear && h.grams >= 3 && h.end-h.begin >= 20 && h.moved > 0.15 && h.on >= 0.85 {
			return true
		}
	}
	return false
}

func (v *view) deadInput() (accepted, undecided []string) {
	level := v.inputs[0].stuck
	if math.IsNaN(level) {
		level = min(v.inputs[0].bias, v.inputs[0].top)
	}
	// A hold shows that nothing follows only where it asks for another level.
	tells := false
	for i := range v.holds {
		h := &v.holds[i]
		to := h.volts
		if h.end-h.begin >= 5 && h.ohms < 2000 && !h.shaky && math.Abs(to-level) > 0.25 {
			tells = true
		}
	}
	accepted = []string{"input_dead"}
	if !tells || !v.marked {
		accepted = append(accepted, "nothing_forced", "unclear", "not_ready")
	}
	return accepted, shrug
}

func (v *view) slowSensor() (accepted, undecided []string) {
	slowest, tested := 0.0, false
	for i := range v.holds {
		h := &v.holds[i]
		tau := v.cells[0].tauRich
		if h.side == "rich" {
			tau = v.cells[0].tauLean
		}
		if h.clear(v.port.rate) && tau > slowest {
			slowest, tested = tau, true
		}
	}
	// From 0.3 to 0.6 V takes a first-order lag 0.8 of its time constant.
	shows := 0.8*slowest > 0.45+2/v.port.rate+v.computer.refresh+v.computer.average
	if !tested || !shows || slowest < 1 {
		return []string{"sensor_slow", "loop_proven", "partly_proven", "unclear", "nothing_forced"}, shrug
	}
	undecided = shrug
	if slowest < 1.5 {
		undecided = append([]string{"loop_proven"}, shrug...)
	}
	return []string{"sensor_slow"}, undecided
}
