package sheet

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"

	"pushback/analysis/bias"
	"pushback/analysis/hazard"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// WriteRefused explains why a battery, or a person, is never a source.
func WriteRefused(w io.Writer, what string) {
	hot := bias.Sensor{EMF: 0.1, Ohms: 1000}
	if what == "battery" {
		fmt.Fprintf(w, `Battery voltage never goes on a sensor's wire, not through a resistor either.
  - The input is made for about 1 V (a 5 V system at most). Beyond that its protection
    carries the current, and the reading is no sensor's any more.
  - One broken joint or slipped clip of a divider puts all of it on the input: %.1f V
    through 1 MΩ is still %.1f V at a usual input.
  - A car's supply is 12 to 14.7 V with peaks far above, and can push hundreds of amperes.
A dry cell can do none of that: 1.5 V, and milliamperes behind its divider.
`, 14.4, bias.Through(14.4, 1e6, bias.OpenBranch))
	} else {
		fmt.Fprintf(w, `Never use your body as the resistor: no finger on battery and signal, or any other way.
  - What a body impedes changes with sweat, grip and voltage. Hand to hand, dry, large
    contacts, not exceeded by 5, 50 and 95 %% of people (IEC 479-1, editions of 1984 to
    1994; the edition of 2005 differs; wet hands 10 to 25 %% less):
`)
		for _, b := range bias.Body[:4] {
			fmt.Fprintf(w, "      %4.0f V   %5.0f  %5.0f  %5.0f Ω\n", b.Touch, b.P5, b.P50, b.P95)
		}
		fmt.Fprintf(w, `    and a dry finger tip is 40 kΩ to 1 MΩ, a wet one some kΩ.
  - So the wire gets anything: from 14.4 V with a warm lean sensor joined (1 kΩ), %.2f V
    through 30 kΩ, %.1f V through 6.1 kΩ, %.1f V through 1 kΩ; with its branch open nearly
    all of it. Nothing is proven by a voltage that nobody knows.
  - It puts hands between battery, ignition (tens of kV), hot exhaust and fans.
`, bias.Through(14.4, 30e3, hot), bias.Through(14.4, 6.1e3, hot), bias.Through(14.4, 1e3, hot))
	}
}

// WriteSource prints a source for a rich hold, and the ground for a lean one; raised is the voltage of
// the sensor return against the chassis as measured, V. The tables are printed where all is wanted.
func WriteSource(w io.Writer, d bias.Design, raised float64, all bool) {
	writeRich(w, d)
	if all {
		writeGivesWay(w, d)
	}
	writeLean(w, d.Computer, raised, all)
	if !all {
		fmt.Fprintln(w, "\n`pushback source --all`: with the sensor connected, each slip and failure, and the ground's limits in numbers.")
	}
}

func writeRich(w io.Writer, d bias.Design) {
	open, behind := d.Open()
	wire, most := d.Worst(bias.OpenBranch, bias.Sound)
	fmt.Fprintf(w, "RICH  %s over %s (%s, %.3g %%) from %.3g V (%.3g to %.3g V)\n\n%s\n\n", bias.Ohms(d.Top), bias.Ohms(d.Bottom),
		d.Series.Name, 100*d.Tolerance, d.Supply.Volts.Nom, d.Supply.Volts.Lo, d.Supply.Volts.Hi, d.Drawing())
	fmt.Fprintf(w, "  open       %.3f V behind %s (wanted %.2f V)\n", open, bias.Ohms(behind), d.Target)
	fmt.Fprintf(w, "  on the wire, sensor's branch open: %.3f V; worst case %.2f to %.2f V\n", wire.Nom, wire.Lo, wire.Hi)
	fmt.Fprintf(w, "  draws %.2g mA, at most %.2g mA into a short; %.2g mW in a resistor: any size does\n",
		1e3*most.Drawn, 1e3*d.Shorted(), 1e3*max(most.Power[0], most.Power[1]))
	fmt.Fprintln(w, `
  Before use: measure clip 1 to clip 2 with a meter of 10 MΩ or more: about the voltage
  wanted, clip 1 positive, or a clip is swapped or the cell reversed. Open the sensor's
  branch, connect clip 2 first (sensor return), then clip 1; remove them in reverse
  order, and reconnect the sensor at once: the release is the sensor's own test.
  A bench supply must float: one whose minus is tied to earth or chassis closes a
  second path, and then a slipped return clip no longer fails safe.`)
	term.Indent(w, "  ! ", hazard.Wire.Caution())
	term.Indent(w, "  ! ", words.OpenBranch)
	for _, c := range why.Texts(d.Cautions()) {
		term.Indent(w, "  ! ", c)
	}
	term.Indent(w, "  ! ", fmt.Sprintf(`A broken joint or a bridged resistor is the worst single failure: %.2f V at most, and with R1 bridged `+
		`only the cell itself limits the current. No divider from one dry cell does better, and soldered joints that are measured before each `+
		`use do not slip: without them do not use it. Where the manufacturer's information, local codes or licensed practice forbid a source on the wire, do not use one.`, d.Supply.Volts.Hi))
}

// writeGivesWay prints what the wire gets with a sensor connected, and when something fails.
func writeGivesWay(w io.Writer, d bias.Design) {
	fmt.Fprintln(w, "\n  with the sensor still connected")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, s := range bias.Sensors {
		x := d.Nominal(s).Solve(bias.Sound)
		note := ""
		if x.Wire < bias.MinRich {
			note = "not rich enough to prove anything"
		}
		fmt.Fprintf(tw, "    %s\t%s\t%.2f V\t%s mA\t%s\n", s.State, bias.Ohms(s.Ohms), words.Unsigned(x.Wire, 2), words.Signed(1e3*x.Sensor, 2), note)
	}
	tw.Flush()
	fmt.Fprintln(w, "\n  when something gives way (sensor's branch open, worst case)")
	for _, f := range bias.Faults {
		wire, _ := d.Worst(bias.OpenBranch, f)
		fmt.Fprintf(tw, "    %s\t%.2f to %.2f V\t%s\n", f, words.Unsigned(wire.Lo, 2), words.Unsigned(wire.Hi, 2), faultWords(f))
	}
	tw.Flush()
}

func faultWords(f bias.Fault) string {
	switch f {
	case bias.SignalSlip, bias.ReturnSlip:
		return "fails safe: the wire reads the ECM bias, or the sensor"
	case bias.CellSlip:
		return "pulls the wire to a false LEAN with no warning"
	case bias.BottomOpen, bias.TopShort:
		return "DANGEROUS: the full cell voltage on the wire; above any sensor, may set a circuit code"
	case bias.Swapped, bias.Reversed:
		return "DANGEROUS: below zero, a false LEAN; may set a circuit code and damage a connected sensor"
	}
	return ""
}

func writeLean(w io.Writer, c bias.Computer, raised float64, all bool) {
	fmt.Fprintf(w, "\nLEAN  jumper signal to sensor return, ECM side\n\n")
	fmt.Fprintf(w, "  Disconnect the sensor: then nearly any joint reads below %.2f V, which a good joint does. Above\n  %.2f V a reading no longer proves lean. With a hot sensor still connected only a short thick lead\n  does, and the sensor is shorted: keep it short in time too.\n", bias.GroundWant, bias.GroundMost)
	if all {
		writeGrounds(w, c)
	}
	fmt.Fprintln(w, `
  Sensor return or chassis? The computer reads signal MINUS return.`)
	term.Indent(w, "  ", words.RaisedReturn)
	if math.Abs(raised) < 0.05 {
		fmt.Fprintln(w, "    about 0 V     the return; the chassis is worse (currents of the engine lift it)")
		fmt.Fprintln(w, "    about 2.5 V   a raised return: ONLY the return. Chassis would read -2.5 V and set a code")
	} else {
		fmt.Fprintf(w, "    %.2f V as measured: use ONLY the sensor return; the chassis would read %.2f V,\n    and the rich source on the chassis %.2f V\n",
			raised, bias.Chassis(0, raised), bias.Chassis(0.9, raised))
	}
	fmt.Fprintln(w, `  Scan data can't show a titania sensor: unplugged, key on, a meter on the ECM side
  reads about 1 V (or 5 V) and its element some kΩ to tens of kΩ, changing
  with mixture. Do not force it like this one. A wide-range (air-fuel ratio) sensor: never.`)
}

// writeGrounds prints what the joint to the return may have at most.
func writeGrounds(w io.Writer, c bias.Computer) {
	fmt.Fprintln(w, "\n  the joint may have at most")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "    sensor\tto read %.2f V\tto read %.2f V\tcurrent from the sensor\n", bias.GroundWant, bias.GroundMost)
	for _, g := range bias.Grounds(c) {
		fmt.Fprintf(tw, "    %s\t%s\t%s\t%.2g mA\n", g.Sensor.State, bias.Ohms(g.Want), bias.Ohms(g.Most), 1e3*g.Amps)
	}
	tw.Flush()
}

// Source is the JSON of a bias source.
type Source struct {
	Safe       bool       `json:"safe"`
	Refused    []string   `json:"refused"`
	Cautions   []string   `json:"cautions"`
	Supply     Range      `json:"supply_v"`
	Series     string     `json:"series"`
	Tolerance  float64    `json:"tolerance_pct"`
	Top        float64    `json:"top_ohm"`
	Bottom     float64    `json:"bottom_ohm"`
	OpenV      float64    `json:"open_v"`     // Thévenin
	SourceOhms float64    `json:"source_ohm"` // Thévenin
	Wire       Range      `json:"wire_v"`     // sensor's branch open
	DrawnMA    float64    `json:"drawn_ma"`
	ShortedMA  float64    `json:"shorted_ma"`
	PowerMW    [2]float64 `json:"power_mw"`
	Sensors    []Joined   `json:"with_sensor"`
	Faults     []Fault    `json:"faults"`
	Ground     []Ground   `json:"ground"`
	ChassisV   float64    `json:"chassis_reads_v"` // a ground to the chassis, with the return where it was measured
	Drawing    string     `json:"drawing"`
}

// Range is the JSON of a value with its bounds.
type Range struct {
	Lo  float64 `json:"min"`
	Nom float64 `json:"nominal"`
	Hi  float64 `json:"max"`
}

// Joined is the JSON of the source with a sensor joined.
type Joined struct {
	State    string  `json:"state"`
	EMF      float64 `json:"emf_v"`
	Ohms     float64 `json:"ohm"`
	Wire     float64 `json:"wire_v"`
	SensorMA float64 `json:"sensor_ma"`
}

// Fault is the JSON of what the wire gets when something gives way.
type Fault struct {
	Fault string `json:"fault"`
	Wire  Range  `json:"wire_v"`
}

// Ground is the JSON of what a ground may have at most.
type Ground struct {
	State string   `json:"state"`
	Want  *float64 `json:"ohm_for_0_06_v"` // null: any
	Most  *float64 `json:"ohm_for_0_20_v"`
	MA    float64  `json:"ma"`
}

// SourceOf is the JSON of a source.
func SourceOf(d bias.Design, raised float64, refusals []string) Source {
	open, behind := d.Open()
	wire, most := d.Worst(bias.OpenBranch, bias.Sound)
	j := Source{Safe: len(refusals) == 0, Refused: list(refusals), Cautions: list(why.Texts(d.Cautions())),
		Supply: Range(d.Supply.Volts), Series: d.Series.Name, Tolerance: 100 * d.Tolerance,
		Top: d.Top, Bottom: d.Bottom, OpenV: open, SourceOhms: behind, Wire: Range(wire),
		DrawnMA: 1e3 * most.Drawn, ShortedMA: 1e3 * d.Shorted(), PowerMW: [2]float64{1e3 * most.Power[0], 1e3 * most.Power[1]},
		ChassisV: bias.Chassis(0, raised), Drawing: d.Drawing()}
	for _, s := range bias.Sensors {
		x := d.Nominal(s).Solve(bias.Sound)
		j.Sensors = append(j.Sensors, Joined{s.State, s.EMF, s.Ohms, x.Wire, 1e3 * x.Sensor})
	}
	for _, f := range bias.Faults {
		wire, _ := d.Worst(bias.OpenBranch, f)
		j.Faults = append(j.Faults, Fault{f.String(), Range(wire)})
	}
	any := func(r float64) *float64 {
		if math.IsInf(r, 1) {
			return nil
		}
		return &r
	}
	for _, g := range bias.Grounds(d.Computer) {
		j.Ground = append(j.Ground, Ground{g.Sensor.State, any(g.Want), any(g.Most), 1e3 * g.Amps})
	}
	return j
}
