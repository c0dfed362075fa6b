package bias

import "math"

// Range is a value with what it may be in the worst case.
type Range struct{ Lo, Nom, Hi float64 }

// Exactly is a range of no width.
func Exactly(v float64) Range { return Range{v, v, v} }

// within spreads a nominal value by a tolerance (a fraction).
func within(v, tolerance float64) Range { return Range{v * (1 - tolerance), v, v * (1 + tolerance)} }

// Computer is the computer's input as the wire sees it: a resistance to the return,
// and a pull to a bias voltage through another.
type Computer struct {
	Input     Range // Ω to the sensor return
	PullVolts Range
	PullOhms  Range
}

// UsualComputer is the input of a plain zirconia sensor. A bias of 0.4 to 0.55 V
// through 0.34 to 4 MΩ is what measurements on several systems gave (a meter of
// 10 MΩ that reads 0.32 V of 0.45 V; two resistors of 684 kΩ); an input of 1 to 10 MΩ
// is common practice, no source.
var UsualComputer = Computer{
	Input:     Range{1e6, 1e6, 1e7},
	PullVolts: Range{0.40, 0.45, 0.55},
	PullOhms:  Range{342e3, 1e6, 4e6},
}

// Sensor is a zirconia cell: a voltage behind a resistance that falls by orders of
// magnitude as it warms. Infinite resistance: its branch is open.
type Sensor struct {
	State string
	EMF   float64 // V
	Ohms  float64
}

// Branch states. 10 Ω at 900 °C, 35 Ω at 750 °C and 120 Ω at 650 °C are of
// one planar heated cell (a sensor maker's graph); kΩ at 350 to 400 °C
// and MΩ when cold are from memory. 0.9 and 0.1 V are the ends of a healthy swing.
var (
	OpenBranch = Sensor{"branch open", 0, math.Inf(1)}
	Sensors    = []Sensor{
		{"cold, rich", 0.9, 1e6}, {"cold, lean", 0.1, 1e6},
		{"warming, rich", 0.9, 1e4}, {"warming, lean", 0.1, 1e4},
		{"warm, rich", 0.9, 1e3}, {"warm, lean", 0.1, 1e3},
		{"hot, rich", 0.9, 100}, {"hot, lean", 0.1, 100},
		{"very hot, rich", 0.9, 10}, {"very hot, lean", 0.1, 10},
	}
)

// Fault is one thing that goes wrong while the source is on the wire.
type Fault int

const (
	Sound      Fault = iota
	SignalSlip       // the clip on the signal wire slips
	ReturnSlip       // the clip on the sensor return slips: ground lost
	CellSlip         // the clip on the cell's plus slips
	BottomOpen       // the lower resistor, or its joint, opens
	TopShort         // the upper resistor is bridged
	Swapped          // clip 1 is on the return, clip 2 on the signal
	Reversed         // the cell is in the wrong way round
)

// Faults lists all faults.
var Faults = []Fault{SignalSlip, ReturnSlip, CellSlip, BottomOpen, TopShort, Swapped, Reversed}

func (f Fault) String() string {
	return [...]string{"sound", "the signal clip slips", "the return clip slips (ground lost)",
		"the cell's clip slips", "the lower resistor opens", "the upper resistor is bridged",
		"the two clips are swapped", "the cell is in the wrong way round"}[f]
}

// leg is one branch from the wire: a voltage behind a resistance.
type leg struct{ volts, ohms float64 }

// node is the voltage at which the currents of all legs add up to none (Millman).
func node(legs ...leg) float64 {
	var i, g float64
	for _, l := range legs {
		i += l.volts / l.ohms
		g += 1 / l.ohms
	}
	return i / g
}

// Values is one exact circuit, no ranges.
type Values struct {
	Source, Top, Bottom  float64 // V, Ω, Ω
	EMF, SensorOhms      float64 // V, Ω; infinite Ω: branch open
	Input                float64 // Ω
	PullVolts, PullOhms  float64
	SourceOhms, LeadOhms float64 // in series with the source, and with the signal clip; may be 0
}

// State is what the circuit settles to.
type State struct {
	Wire     float64    // V on the computer's wire
	Sensor   float64    // A into the sensor's cell, negative out of it
	Computer float64    // A into the computer's input and pull together
	Drawn    float64    // A from the source
	Power    [2]float64 // W in the upper and the lower resistor
}

// bridge is the resistance of a short across the upper resistor, Ω.
const bridge = 1e-3

// Solve returns the state of a circuit with one fault.
func (v Values) Solve(f Fault) State {
	top, bottom := v.Top+v.SourceOhms, v.Bottom
	upper, sign := v.Top, 1.0
	switch f {
	case CellSlip:
		top = math.Inf(1)
	case BottomOpen:
		bottom = math.Inf(1)
	case TopShort:
		upper, top = bridge, bridge+v.SourceOhms
	case Swapped, Reversed: // with one way from the source to the wire, they are the same
		v.Source, sign = -v.Source, -1
	}
	rest := []leg{{v.EMF, v.SensorOhms}, {0, v.Input}, {v.PullVolts, v.PullOhms}}
	// The divider as the wire sees it: its open voltage behind both resistors in parallel.
	open := v.Source * bottom / (top + bottom)
	behind := 1 / (1/top + 1/bottom)
	switch {
	case math.IsInf(bottom, 1):
		open, behind = v.Source, top
	case math.IsInf(top, 1):
		open, behind = 0, bottom
	}
	var s State
	divider := open // V at the divider's middle
	if f == SignalSlip || f == ReturnSlip {
		// One clip alone carries no current: the wire is left to sensor and computer.
		s.Wire = node(rest...)
	} else {
		s.Wire = node(append(rest, leg{open, behind + v.LeadOhms})...)
		divider = open - (open-s.Wire)/(behind+v.LeadOhms)*behind
	}
	s.Sensor = (s.Wire - v.EMF) / v.SensorOhms
	s.Computer = s.Wire/v.Input + (s.Wire-v.PullVolts)/v.PullOhms
	s.Drawn = (v.Source - divider) / top * sign
	s.Power[0] = s.Drawn * s.Drawn * upper
	s.Power[1] = divider * divider / bottom
	return s
}
