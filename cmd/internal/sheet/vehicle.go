package sheet

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"pushback/analysis/dossier"
	"pushback/analysis/hazard"
	"pushback/analysis/measure"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/decode"
)

// Vehicle is what a look at a car found. Wide because it is the JSON that other programs read.
type Vehicle struct {
	Bus       string          `json:"bus"`
	Dialect   string          `json:"dialect"` // j1979, j1979-2
	Adapter   string          `json:"adapter"`
	VoltageV  float64         `json:"voltage_v"` // at the connector; 0 unknown
	Quirks    []string        `json:"quirks"`
	Computers []string        `json:"computers"`
	Engine    string          `json:"engine"` // the computer that is watched
	Sensors   []Sensor        `json:"sensors"`
	Watching  string          `json:"watching"`
	Signals   []string        `json:"signals"`        // supported, by the standard's short names
	RateHz    float64         `json:"readings_per_s"` // of the watched sensor
	Share     float64         `json:"share_of_ideal"` // of the rate at which nothing else is read; 0 unknown
	Codes     []Code          `json:"codes"`
	Ready     bool            `json:"ready"`
	Reasons   []hazard.Advice `json:"reasons"`
	Checks    []Check         `json:"checks"`
	Monitors  *Monitors       `json:"monitors"`     // null: not read
	Tests     []OwnTest       `json:"own_tests"`    // services 05 and 06
	Freeze    *Freeze         `json:"freeze_frame"` // the first code's; null: none
	More      []Freeze        `json:"more_freeze_frames"`
	Ask       []string        `json:"ask"` // what no data tells

	data   dossier.VehicleData
	checks []dossier.Check
}

// Sensor is the JSON of an oxygen sensor that the computer names.
type Sensor struct {
	Name string `json:"name"`
	Kind string `json:"kind"`
	PID  string `json:"pid"`
}

// Check is the JSON of one condition for a test, and what to do when it is not met.
type Check struct {
	What  string             `json:"what"`
	State dossier.CheckState `json:"state"` // ok, unmet, unknown
	Found string             `json:"found"` // what was seen; "" nothing
	Do    string             `json:"do"`    // "" nothing to do
}

// VehicleOf is what a look at a car found.
func VehicleOf(i *rig.Inspection) Vehicle {
	d, sensor := i.Judge.Decoder(), i.Judge.Setup().Sensor
	v := Vehicle{
		Bus: i.Car.Format.Bus.String(), Dialect: i.Car.Format.Dialect.String(), Adapter: i.Car.Identity.Text, VoltageV: i.Car.Identity.Voltage, Quirks: list(i.Quirks),
		Watching: sensor.String(), RateHz: math.Round(i.Rate()*10) / 10, Share: math.Round(i.Share()*100) / 100,
		Signals: rig.SignalNames(d), Ready: i.Ready, Reasons: list(i.Reasons), Computers: []string{}, Sensors: []Sensor{},
	}
	for _, c := range d.Computers() {
		name := fmt.Sprintf("%X", c)
		if c == d.Engine() {
			v.Engine = name
		}
		v.Computers = append(v.Computers, name)
	}
	for _, x := range d.Sensors() {
		v.Sensors = append(v.Sensors, Sensor{Name: x.Name, Kind: x.Kind.String(), PID: fmt.Sprintf("%02X", x.PID)})
	}
	v.Tell(dossier.VehicleDataOf(i.Found, nil, i.Bands(), sensor.String()), dossier.Checks(i.Look, d.Sensors(), i.Found, sensor))
	return v
}

// Tell fills in what the computers told and the conditions for a test.
func (v *Vehicle) Tell(data dossier.VehicleData, checks []dossier.Check) {
	v.data, v.checks = data, checks
	j := VehicleDataOf(data)
	v.Codes, v.Monitors, v.Tests, v.Freeze, v.More = j.Codes, j.Monitors, j.Tests, j.Freeze, j.More
	v.Checks = each(checks, func(c dossier.Check) Check {
		return Check{words.CheckTitle(c.ID), c.State, words.CheckFound(c), words.CheckDo(c)}
	})
	v.Ask = words.Questions
}

// Write prints it.
func (v *Vehicle) Write(w io.Writer) {
	say := func(what, format string, args ...any) { line(w, what, fmt.Sprintf(format, args...)) }
	say("bus", "%s", words.BusText(v.Bus, v.Dialect))
	adapter := v.Adapter
	if v.VoltageV > 0 {
		adapter += fmt.Sprintf(", %.1f V at the connector", v.VoltageV)
	}
	say("adapter", "%s", adapter)
	for _, q := range v.Quirks {
		say("", "%s", q)
	}
	say("computers", "%s (engine: %s)", strings.Join(v.Computers, ", "), v.Engine)
	what := "sensors"
	for _, s := range v.Sensors {
		say(what, "%s %s (PID %s)", s.Name, s.Kind, s.PID)
		what = ""
	}
	if len(v.Signals) > 0 {
		term.Indent(w, fmt.Sprintf("%-12s ", "signals"), strings.Join(v.Signals, " "))
	}
	rate := fmt.Sprintf("%.1f readings/s of %s", v.RateHz, v.Watching)
	say("rate", "%s", rate)
	switch narrow := slices.ContainsFunc(v.Sensors, func(s Sensor) bool { return s.Name == v.Watching && s.Kind == decode.Narrow.String() }); {
	case !narrow:
	case v.RateHz >= measure.SnapRate:
		term.Indent(w, "snap         ", "can be timed here: "+words.SnapHow)
	default:
		term.Indent(w, "snap         ", words.SnapRefused(v.RateHz))
	}
	WriteCodesRead(w, dossier.VehicleData{Codes: v.data.Codes, Freeze: v.data.Freeze, MoreFreeze: v.data.MoreFreeze, Monitors: v.data.Monitors})
	writeTests(w, v.data.Tests)
	fmt.Fprintln(w)
	v.writeChecks(w)
	if v.Ready {
		say("ready", "yes, to test %s", v.Watching)
	} else {
		say("ready", "NO: %s", words.InUnits(hazard.Join(v.Reasons, "; ")))
	}
}

var checkSigns = map[dossier.CheckState]string{dossier.Met: "✓", dossier.Unmet: "✗", dossier.Unknown: "?"}

func (v *Vehicle) writeChecks(w io.Writer) {
	for _, c := range v.Checks {
		text := checkSigns[c.State] + " " + c.What
		if c.Found != "" {
			text += ": " + words.InUnits(c.Found)
		}
		fmt.Fprintln(w, text)
		if c.Do != "" {
			term.Indent(w, "    do this: ", words.InUnits(c.Do))
		}
	}
	fmt.Fprintln(w, "\nScan data can't show these; check them yourself:")
	for _, q := range v.Ask {
		term.Indent(w, "  - ", q)
	}
	fmt.Fprintln(w)
}
