package dossier

import (
	"fmt"
	"math"

	"pushback/analysis/switching"
	"pushback/decode"
)

// OwnTest is one of the computer's own figures (services 05 and 06) beside the recording's.
type OwnTest struct {
	decode.TestResult
	Recorded float64 // the same figure from the recording, in Unit; NaN: not measured
	Differs  Difference
}

// Difference says in what a recording differs much from the computer's own figure; "": it does not.
type Difference string

// The differences that count: of speed, of lowest and highest voltage, of pace.
const (
	OtherSpeed  Difference = "other_speed"
	GoesLower   Difference = "goes_lower"
	NotAsLow    Difference = "not_as_low"
	GoesHigher  Difference = "goes_higher"
	NotAsHigh   Difference = "not_as_high"
	AnotherPace Difference = "another_pace"
)

// What counts as a difference: a computer's test cycle is another one than the recording, so
// only much (our own).
const (
	differsVolts = 0.15
	differsRatio = 1.6
)

// ID names a test by service, monitor, test and part in hexadecimal, as '05 07' or '06 01/81'.
func (t OwnTest) ID() string {
	switch {
	case t.Monitor != 0:
		return fmt.Sprintf("06 %02X/%02X", t.Monitor, t.Test)
	case t.Service == 6:
		return fmt.Sprintf("06 %02X part %02X", t.Test, t.Part)
	}
	return fmt.Sprintf("05 %02X", t.Test)
}

// Constant reports whether a figure is one of the computer's constants: off CAN it comes
// without limits, on CAN with limits as itself.
func (t OwnTest) Constant() bool { return constant(t.TestResult) }

func constant(t decode.TestResult) bool {
	return math.IsNaN(t.Min) && math.IsNaN(t.Max) || t.Min == t.Value && t.Max == t.Value
}

// ownTests puts the recording's figures of the watched sensor beside the computer's.
func ownTests(tests []decode.TestResult, bands []switching.SpeedBand, sensor string) []OwnTest {
	var out []OwnTest
	for _, t := range tests {
		o := OwnTest{TestResult: t, Recorded: math.NaN()}
		if t.Sensor == sensor && (t.Service == 5 || t.Monitor <= 0x10) && !t.NotRun {
			o.besideAll(bands)
		}
		out = append(out, o)
	}
	return out
}

// besideAll takes the recording's figure at the first kind of engine speed that agrees, for the
// computer does not say at which it measured; else that at the first.
func (t *OwnTest) besideAll(bands []switching.SpeedBand) {
	for i, b := range bands {
		recorded, differs := t.beside(b)
		if i == 0 || differs == "" && !math.IsNaN(recorded) {
			t.Recorded, t.Differs = recorded, differs
		}
		if t.Differs == "" && !math.IsNaN(t.Recorded) {
			return
		}
	}
}

// beside finds the recording's own figure at one kind of engine speed, NaN where it was not
// measured, and in what it differs.
func (t *OwnTest) beside(b switching.SpeedBand) (recorded float64, differs Difference) {
	switch t.Test {
	case 0x05, 0x06:
		e := b.Fall
		if t.Test == 0x06 {
			e = b.Rise
		}
		if !e.Shown() {
			return math.NaN(), ""
		}
		if t.Value > differsRatio*e.AtMost || t.Value < e.AtLeast/differsRatio {
			differs = OtherSpeed
		}
		return (e.AtLeast + e.AtMost) / 2, differs
	case 0x07:
		return b.Low, apart(b.Low, t.Value, GoesLower, NotAsLow)
	case 0x08:
		return b.High, apart(b.High, t.Value, NotAsHigh, GoesHigher)
	case 0x09:
		if b.Per10s > 0 {
			return t.pace(10 / b.Per10s)
		}
	case 0x0A:
		return t.pace(b.Period)
	}
	return math.NaN(), ""
}

// apart compares two voltages.
func apart(recorded, own float64, below, above Difference) Difference {
	switch {
	case recorded < own-differsVolts:
		return below
	case recorded > own+differsVolts:
		return above
	}
	return ""
}

func (t *OwnTest) pace(recorded float64) (float64, Difference) {
	if r := recorded / t.Value; t.Value > 0 && (r > differsRatio || r < 1/differsRatio) {
		return recorded, AnotherPace
	}
	return recorded, ""
}
