package fourth

import "math"

// falseClaims has, by proof, the states that it would be false to claim of this car. What
// the fault keeps anyone from knowing has none.
func (v *view) falseClaims() map[string][]string {
	f := map[string][]string{}
	never := func(state string, proofs ...string) {
		for _, p := range proofs {
			f[p] = append(f[p], state)
		}
	}
	crossed := v.computer.crossed != ""
	deadInput := v.inputs[0].open || !math.IsNaN(v.inputs[0].stuck)
	beyond := v.fault == "leak beyond authority" || v.fault == "exhaust leak beyond authority"
	sensor := v.cells[0]
	broken := sensor.open || !math.IsNaN(sensor.stuck)
	odd := v.fault == "sensor slow" || v.fault == "sensor cold"
	delivers := v.engines[0].delivered > 0.5

	if deadInput || v.computer.crossed == "harness" {
		never("proven", "input")
	} else {
		never("failed", "input")
	}
	// Trim that was learned the other way in the hold before may come back to nothing even
	// where a side is barred, and that is an answer to be seen.
	commands := !v.computer.frozen && !crossed && !deadInput && !beyond && !broken && !v.computer.cold && delivers
	for _, side := range []struct {
		proof          string
		moved          float64
		barred, tested bool
	}{
		{"adds_fuel", v.moved("lean"), v.computer.neverAdds, v.triedLean},
		{"cuts_fuel", v.moved("rich"), v.computer.neverCuts, v.triedRich},
	} {
		if v.computer.frozen || v.computer.cold || side.barred && side.moved < 0.02 || !side.tested {
			never("proven", side.proof)
		}
		if commands && !side.barred || !crossed && side.moved > 0.1 {
			never("failed", side.proof)
		}
	}
	if !delivers || v.computer.frozen || v.computer.cold {
		never("proven", "delivery")
	}
	if delivers && commands {
		never("failed", "delivery")
	}
	if sensor.open || v.fault == "sensor stuck lean" || v.holds[0].leftOpen && len(v.holds) == 1 {
		never("proven", "sensor_rich")
	}
	if sensor.open || v.fault == "sensor stuck rich" || v.holds[0].leftOpen && len(v.holds) == 1 {
		never("proven", "sensor_lean")
	}
	if !broken && !odd && !crossed {
		never("failed", "sensor_rich", "sensor_lean")
	}
	if crossed {
		never("proven", "bank")
	} else {
		never("failed", "bank")
	}
	last := v.holds[len(v.holds)-1]
	switch {
	case broken, v.computer.frozen, !delivers, last.leftOpen && len(v.holds) == 1, deadInput, beyond:
		never("proven", "recovery")
	case commands && v.tail > 20 && !odd && v.computer.quirk == quirkNone && !v.computer.neverAdds && !v.computer.neverCuts:
		never("failed", "recovery")
	}
	return f
}

// moved is how far trim went at most against the holds of a side that reached the computer.
func (v *view) moved(side string) float64 {
	most := 0.0
	for i := range v.holds {
		if h := &v.holds[i]; h.side == side && h.attempted() {
			most = max(most, h.moved)
		}
	}
	return most
}
