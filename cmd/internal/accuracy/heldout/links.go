package heldout

// proofs in the order of the README.
var proofs = []string{"input", "adds_fuel", "cuts_fuel", "delivery", "sensor_rich", "sensor_lean", "bank", "recovery"}

// links says of each arc of the ring whether it is good, bad, or not to be known from a force
// on the wire: a good one must not be called failed, nor a bad one proven.
func (j *judge) links() map[string]string {
	l := map[string]string{}
	for _, p := range proofs {
		l[p] = "good"
	}
	set := func(state string, which ...string) {
		for _, p := range which {
			l[p] = state
		}
	}
	b := j.car.banks[0]
	switch j.Fault {
	case slow, shifted:
		set("", "sensor_rich", "sensor_lean", "recovery") // late or little: either word is right
	case exhaust:
		set("", "recovery")
	case deadLean:
		set("bad", "sensor_rich")
		set("", "sensor_lean", "recovery", "delivery")
	case deadRich:
		set("bad", "sensor_lean")
		set("", "sensor_rich", "recovery", "delivery")
	case deadBias:
		set("bad", "sensor_rich", "sensor_lean")
		set("", "recovery", "delivery")
	case inputOpen, inputShort: // nothing behind the input can be known
		set("bad", "input")
		set("", proofs[1:]...)
	case silent, broken:
		set("bad", "adds_fuel", "cuts_fuel")
		set("", "delivery", "bank", "recovery")
	case oneWay:
		set("bad", "adds_fuel")
		if b.lo > -2 {
			set("good", "adds_fuel")
			set("bad", "cuts_fuel")
		}
		set("", "recovery", "delivery")
	case limited:
		set("", "recovery")
	case undelivery:
		set("bad", "delivery")
		set("", "recovery", "sensor_rich", "sensor_lean")
	case crossed:
		set("bad", "bank")
		set("", "input", "adds_fuel", "cuts_fuel", "delivery", "sensor_rich", "sensor_lean", "recovery")
	case cold:
		set("", "adds_fuel", "cuts_fuel", "recovery", "delivery")
	}
	// A computer that lets go, pauses, or says open loop does not answer, and is right to be told so.
	if b.quits != staysOn || b.pauses > 0 {
		for _, p := range []string{"adds_fuel", "cuts_fuel", "recovery"} {
			if l[p] == "good" {
				l[p] = ""
			}
		}
	}
	// The wrong wire: what is watched does not follow, and the other bank answers.
	for _, h := range j.holds {
		if h.wire != 0 && j.Fault != crossed {
			set("", "bank", "input", "adds_fuel", "cuts_fuel")
		}
		if h.closed > 3 {
			set("", "sensor_rich", "sensor_lean", "recovery")
		}
	}
	return l
}
