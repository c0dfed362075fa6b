package bias

import (
	"errors"
	"fmt"
	"math"

	"pushback/analysis/reason"
)

// The limits. A reading ends at 1.275 V (SAE J1979, PIDs 14 to 1B) and a healthy cell
// at about 1 V, so 1.1 V leaves room for the cell's tolerance and nothing else. One dry cell
// without its divider is the least that a broken joint can be, and more is refused. The current is
// our own, cautious: an input has protection that carries some mA, and a cell is polarised by more
// (common practice, no source).
const (
	maxWire   = 1.1   // V, either way round, sound or with a clip slipped or swapped
	maxBroken = 1.7   // V, when a soldered joint breaks or a resistor is bridged: a fresh dry cell
	maxAmps   = 0.005 // A that the source can push into whatever the wire touches
	MinRich   = 0.80  // V: a reading of 0.70 to 0.80 V does not prove a side
	Battery   = 9.0   // V from which a source is taken for the car's own supply
)

// ErrUnsafe is wrapped by what refuses a source.
var ErrUnsafe = errors.New("unsafe source")

// Supply is what the divider is fed from.
type Supply struct {
	What  string // "dry cell", "supply"
	Volts Range
	Ohms  float64 // inside it
}

// DryCell is one alkaline or zinc cell of 1.5 V: 1.65 V when fresh and unloaded,
// spent for this purpose at 1.35 V (common practice, no source).
var DryCell = Supply{"dry cell", Range{1.35, 1.5, 1.65}, 0}

// Bench is a supply of v volts within a tolerance (a fraction).
func Bench(v, tolerance float64) Supply { return Supply{"supply", within(v, tolerance), 0} }

// Design is a divider on a supply, on a computer's wire.
type Design struct {
	Supply    Supply
	Target    float64 // V
	Series    Series
	Tolerance float64 // of the resistors, a fraction
	Top       float64 // Ω, from the supply to the wire
	Bottom    float64 // Ω, from the wire to the sensor return
	Computer  Computer
	Clipped   bool // the lower resistor is held by clips, not soldered
}

// Find chooses the two resistors of a series: those whose open voltage comes nearest to
// the target, with a source resistance between half and twice the wanted one. Of equals
// it takes the one nearest to the wanted resistance.
func Find(s Supply, target, wanted float64, series Series, tolerance float64, c Computer) (Design, error) {
	d := Design{Supply: s, Target: target, Series: series, Tolerance: tolerance, Computer: c}
	switch {
	case !(target > 0) || target >= s.Volts.Lo:
		return d, fmt.Errorf("find divider: %.2f V cannot be made from %.2f V", target, s.Volts.Lo)
	case !(wanted >= 1 && wanted <= 1e5):
		return d, fmt.Errorf("find divider: a source of %.3g Ω is not between 1 Ω and 100 kΩ", wanted)
	}
	ratio := target / s.Volts.Nom
	best := math.Inf(1)
	bottoms := series.Between(wanted/2, 2*wanted/(1-ratio)*1.1)
	for _, top := range series.Between(wanted/2, 2*wanted/ratio*1.1) {
		for _, bottom := range bottoms {
			behind := top * bottom / (top + bottom)
			if behind < wanted/2 || behind > 2*wanted {
				continue
			}
			miss := math.Abs(s.Volts.Nom*bottom/(top+bottom) - target)
			// Misses within 5 mV, one count of the reading, are equal.
			score := math.Round(miss/0.005) + math.Abs(math.Log(behind/wanted))
			if score < best {
				best, d.Top, d.Bottom = score, top, bottom
			}
		}
	}
	if d.Top == 0 {
		return d, fmt.Errorf("find divider: no pair of %s makes %.2f V from %.2f V at about %.3g Ω", series.Name, target, s.Volts.Nom, wanted)
	}
	return d, nil
}

// Open is the divider's open voltage and the resistance behind it (Thévenin).
func (d Design) Open() (volts, ohms float64) {
	return d.Supply.Volts.Nom * d.Bottom / (d.Top + d.Bottom), d.Top * d.Bottom / (d.Top + d.Bottom)
}

// Nominal is the circuit with all values as marked.
func (d Design) Nominal(s Sensor) Values {
	return Values{Source: d.Supply.Volts.Nom, SourceOhms: d.Supply.Ohms, Top: d.Top, Bottom: d.Bottom,
		EMF: s.EMF, SensorOhms: s.Ohms,
		Input: d.Computer.Input.Nom, PullVolts: d.Computer.PullVolts.Nom, PullOhms: d.Computer.PullOhms.Nom}
}

// Worst is the lowest and the highest the wire can be, and the largest currents and
// power, over all tolerances. The wire's voltage is a mean of the legs' voltages
// weighted by their conductances, so it moves one way with each value alone, and the
// corners hold the extremes.
func (d Design) Worst(s Sensor, f Fault) (wire Range, most State) {
	wire = Range{math.Inf(1), d.Nominal(s).Solve(f).Wire, math.Inf(-1)}
	ends := func(r Range) [2]float64 { return [2]float64{r.Lo, r.Hi} }
	for corner := range 1 << 6 {
		pick := func(bit int, r Range) float64 { return ends(r)[corner>>bit&1] }
		v := Values{SourceOhms: d.Supply.Ohms, EMF: s.EMF, SensorOhms: s.Ohms,
			Source: pick(0, d.Supply.Volts), Top: pick(1, within(d.Top, d.Tolerance)), Bottom: pick(2, within(d.Bottom, d.Tolerance)),
			Input: pick(3, d.Computer.Input), PullVolts: pick(4, d.Computer.PullVolts), PullOhms: pick(5, d.Computer.PullOhms)}
		x := v.Solve(f)
		wire.Lo, wire.Hi = min(wire.Lo, x.Wire), max(wire.Hi, x.Wire)
		most.Sensor = max(most.Sensor, math.Abs(x.Sensor))
		most.Computer = max(most.Computer, math.Abs(x.Computer))
		most.Drawn = max(most.Drawn, x.Drawn)
		most.Power[0], most.Power[1] = max(most.Power[0], x.Power[0]), max(most.Power[1], x.Power[1])
	}
	most.Wire = wire.Hi
	return wire, most
}

// Shorted is the largest current that the source can push into anything that the
// signal clip touches, A.
func (d Design) Shorted() float64 {
	return d.Supply.Volts.Hi / (within(d.Top, d.Tolerance).Lo + d.Supply.Ohms)
}

// byClip reports whether a fault is a clip's or the hand's, which comes some day, and not a
// soldered joint's.
func (d Design) byClip(f Fault) bool {
	return f == SignalSlip || f == ReturnSlip || f == CellSlip || f == Swapped || f == Reversed || f == BottomOpen && d.Clipped
}

// Refusals says why the source must not be used; none when it may.
func (d Design) Refusals() []reason.Reason {
	var out []reason.Reason
	if d.Supply.Volts.Hi >= Battery {
		out = append(out, reason.CarsOwnSupply.Of(d.Supply.Volts.Nom))
	}
	if wire, _ := d.Worst(OpenBranch, Sound); wire.Hi > maxWire {
		out = append(out, reason.WireWorst.Of(wire.Hi, maxWire))
	}
	for _, f := range Faults {
		wire, _ := d.Worst(OpenBranch, f)
		limit := maxBroken
		if d.byClip(f) {
			limit = maxWire
		}
		switch {
		case wire.Hi > limit:
			out = append(out, reason.WireAbove.Of(f, wire.Hi, limit))
		case -wire.Lo > maxWire:
			out = append(out, reason.WireBelow.Of(f, wire.Lo, -maxWire))
		}
	}
	if i := d.Shorted(); i > maxAmps {
		out = append(out, reason.PushesCurrent.Of(1e3*i, 1e3*maxAmps))
	}
	return out
}

// Cautions says what is allowed but must be minded.
func (d Design) Cautions() []reason.Reason {
	var out []reason.Reason
	if wire, _ := d.Worst(OpenBranch, Sound); wire.Lo < MinRich {
		out = append(out, reason.WireTooLow.Of(wire.Lo, MinRich))
	}
	for _, s := range Sensors {
		if x := d.Nominal(s).Solve(Sound); x.Wire < MinRich {
			out = append(out, reason.OpenForSource.Of(s.State, Ohms(s.Ohms), x.Wire))
			break
		}
	}
	if wire, _ := d.Worst(OpenBranch, BottomOpen); wire.Hi > maxWire {
		out = append(out, reason.JointMayBreak.Of(wire.Hi, Ohms(d.Top)))
	}
	return out
}
