package simcar

// wireSpec is the wiring of one sensor:
//
//	emf ─ R_i ─ [sensor side] ─ TAP ─ [computer side] ─ input ─ R_bias ─ bias
type wireSpec struct {
	sensorOpen   bool // broken between sensor and tap
	computerOpen bool // broken between tap and computer
	inputDead    bool // the computer reads inputAt, whatever the wire says
	inputAt      float64
	raised       float64 // V by which the sensor return lies above the computer's ground
	bias         float64 // V behind a high resistance that an open input reads; 0: biasVolts, below 0: none, it reads 0 V
}

// open is what the input reads with nothing on it.
func (w *wireSpec) open() float64 {
	switch {
	case w.bias < 0:
		return 0
	case w.bias > 0:
		return w.bias
	}
	return biasVolts
}

// broken reports whether the reading does not tell what the sensor says.
func (w *wireSpec) broken() bool { return w.sensorOpen || w.computerOpen || w.inputDead }

// The computer's input: a bias behind a high resistance, so that an open wire reads
// the middle (0.45 V and about 1 Mohm: common practice, no source).
const (
	biasVolts = 0.45
	biasOhms  = 1e6
)

// contact is what the technician's tap does at this moment.
type contact struct {
	closed      bool
	volts, ohms float64
	opensSensor bool // the harness box has taken the sensor off the wire
}

// input returns the voltage at the computer's input: the sum of the joined branches
// weighted by their conductances (Millman's theorem).
func (w *wireSpec) input(emf, ohms float64, tap contact) float64 {
	if w.inputDead {
		return w.inputAt
	}
	if w.computerOpen {
		return w.open()
	}
	g := 1 / biasOhms
	sum := w.open() * g
	// Sensor and tap stand on the return, the bias on the computer's ground.
	if !w.sensorOpen && !tap.opensSensor {
		g += 1 / ohms
		sum += (emf + w.raised) / ohms
	}
	if tap.closed {
		g += 1 / tap.ohms
		sum += (tap.volts + w.raised) / tap.ohms
	}
	return sum / g
}
