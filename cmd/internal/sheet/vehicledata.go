package sheet

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/decode"
)

// VehicleData is the JSON of what a car's computers told of themselves.
type VehicleData struct {
	Codes    []Code     `json:"codes"`
	Freeze   *Freeze    `json:"freeze_frame"` // the first code's; null: none
	More     []Freeze   `json:"more_freeze_frames"`
	Monitors *Monitors  `json:"monitors"` // null: not read
	Tests    []OwnTest  `json:"own_tests"`
	Cleared  *CodesRead `json:"cleared"` // what was there when codes were cleared; null: they were not
}

// Code is the JSON of a trouble code.
type Code struct {
	Code    string `json:"code"`
	State   string `json:"state"`   // stored, pending, permanent
	Meaning string `json:"meaning"` // "" unknown
	ByTest  bool   `json:"by_test"` // it was set while the test ran, so by the test
}

// Freeze is the JSON of a freeze frame.
type Freeze struct {
	Code    string  `json:"code"`
	Meaning string  `json:"meaning"`
	Values  []Value `json:"values"`
	Latest  bool    `json:"latest"` // not when it was set first, but when it came last
}

// Value is the JSON of one value of a freeze frame.
type Value struct {
	Name  string `json:"name"`
	Value Number `json:"value"`
	Unit  string `json:"unit"`
}

// Monitors is the JSON of the monitors as last read.
type Monitors struct {
	Complete    []string `json:"complete"`
	NotComplete []string `json:"not_complete"`
	Finished    []string `json:"finished_here"` // during this session
}

// OwnTest is the JSON of one of the computer's own figures beside the recording's.
type OwnTest struct {
	ID       string `json:"id"` // service, monitor, test or part in hexadecimal
	Sensor   string `json:"sensor"`
	What     string `json:"what"`
	Unit     string `json:"unit"`
	Value    Number `json:"value"`
	Min      Number `json:"min"` // null: no limit
	Max      Number `json:"max"`
	Passed   bool   `json:"passed"`
	NotRun   bool   `json:"not_run"`  // not completed since the codes were cleared
	Recorded Number `json:"recorded"` // the same from the recording; null: not measured
	Differs  string `json:"differs"`  // in words; "" it does not
}

// CodesRead is the JSON of what clearing takes away.
type CodesRead struct {
	Codes    []Code    `json:"codes"`
	Freeze   *Freeze   `json:"freeze_frame"`
	More     []Freeze  `json:"more_freeze_frames"`
	Monitors *Monitors `json:"monitors"`
}

// VehicleDataOf is the JSON of v.
func VehicleDataOf(v dossier.VehicleData) VehicleData {
	j := VehicleData{Codes: each(v.Codes, codeOf), Freeze: freezeOf(v.Freeze), More: moreFreezeOf(v), Monitors: monitorsOf(v.Monitors), Tests: each(v.Tests, testOf)}
	if v.BeforeClear != nil {
		c := CodesReadOf(*v.BeforeClear)
		j.Cleared = &c
	}
	return j
}

// CodesReadOf is the JSON of what clearing takes away.
func CodesReadOf(v dossier.VehicleData) CodesRead {
	return CodesRead{each(v.Codes, codeOf), freezeOf(v.Freeze), moreFreezeOf(v), monitorsOf(v.Monitors)}
}

func codeOf(c dossier.Code) Code { return Code{c.Code, c.State, words.TroubleCode(c.Code), c.ByTest} }

func freezeOf(f *dossier.Freeze) *Freeze {
	if f == nil {
		return nil
	}
	return &Freeze{f.Code, words.TroubleCode(f.Code), each(f.Values, func(v dossier.Value) Value { return Value{v.Name, Number(v.Value), v.Unit} }), f.Latest}
}

func moreFreezeOf(v dossier.VehicleData) []Freeze {
	return each(v.MoreFreeze, func(f dossier.Freeze) Freeze { return *freezeOf(&f) })
}

func monitorsOf(m *dossier.Monitors) *Monitors {
	if m == nil {
		return nil
	}
	return &Monitors{list(m.Complete), list(m.Incomplete), list(m.Finished)}
}

func testOf(t dossier.OwnTest) OwnTest {
	return OwnTest{ID: t.ID(), Sensor: t.Sensor, What: words.TestName(t.TestResult), Unit: t.Unit, Value: Number(t.Value), Min: Number(t.Min), Max: Number(t.Max),
		Passed: t.Passed(), NotRun: t.NotRun, Recorded: Number(t.Recorded), Differs: words.DifferenceText(t.Differs)}
}

// Found is the JSON line of a session that runs, or runs again: what the computers told, beside
// the recording's figures over all engine speeds (Stored has them by speed).
type Found struct {
	Kind string `json:"kind"`
	VehicleData
}

// FoundOf is that line.
func FoundOf(found *session.Findings, events []analysis.Event, f analysis.Figures, watching decode.SensorID) Found {
	all := switching.SpeedBand{Low: f.Low, High: f.High, Mean: f.Mean, Per10s: f.Per10s, PerSecond: f.PerSecond, Period: math.NaN(), Readings: f.Readings}
	return Found{"found", VehicleDataOf(dossier.VehicleDataOf(found, events, []switching.SpeedBand{all}, watching.String()))}
}

// line prints a name of twelve columns and a text.
func line(w io.Writer, what, text string) { term.Indent(w, fmt.Sprintf("%-12s ", what), text) }

// WriteVehicleData prints what a stored session's computers told, and how the sensor switched.
func WriteVehicleData(w io.Writer, d *dossier.Dossier) {
	v := d.VehicleData
	if v.BeforeClear != nil {
		fmt.Fprintln(w, "before the codes were cleared:")
		WriteCodesRead(w, *v.BeforeClear)
		fmt.Fprintln(w, "after:")
	}
	writeCodes(w, v.Codes)
	writeFreezes(w, v)
	writeMonitors(w, v.Monitors)
	writeTests(w, v.Tests)
	for _, b := range d.Switching {
		writeBand(w, b)
	}
}

// WriteCodesRead prints what clearing takes away.
func WriteCodesRead(w io.Writer, v dossier.VehicleData) {
	if len(v.Codes) == 0 {
		line(w, "codes", "none")
	}
	writeCodes(w, v.Codes)
	writeFreezes(w, v)
	writeMonitors(w, v.Monitors)
}

func writeCodes(w io.Writer, codes []dossier.Code) {
	for _, c := range codes {
		line(w, "code", words.CodeText(c))
	}
}

func writeFreezes(w io.Writer, v dossier.VehicleData) {
	writeFreeze(w, v.Freeze)
	for _, f := range v.MoreFreeze {
		writeFreeze(w, &f)
	}
}

func writeFreeze(w io.Writer, f *dossier.Freeze) {
	if f != nil {
		line(w, "freeze frame", words.FreezeHead(*f))
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, x := range words.FreezeFacts(*f) {
			fmt.Fprintf(tw, "  %s\t%s\n", x.What, x.Text)
		}
		tw.Flush()
	}
}

func writeMonitors(w io.Writer, m *dossier.Monitors) {
	if m != nil {
		line(w, "monitors", words.MonitorsText(*m))
	}
}

func writeTests(w io.Writer, tests []dossier.OwnTest) {
	what := "own tests"
	for _, t := range tests {
		f := words.OwnTestFact(t)
		line(w, what, f.What+": "+f.Text)
		what = ""
	}
}

// Stored is the JSON of what a stored session shows apart from its verdict.
type Stored struct {
	VehicleData
	Switching []Band   `json:"switching"`
	After     After    `json:"after_test"`
	Measures  Measures `json:"measures"`
}

// StoredOf is that JSON.
func StoredOf(d *dossier.Dossier) Stored {
	return Stored{VehicleDataOf(d.VehicleData), each(d.Switching, bandOf), afterOf(&d.After), measuresOf(d)}
}

// After is the JSON of what a test left in the computer.
type After struct {
	Stored  []string `json:"stored"`  // codes that it set
	Pending []string `json:"pending"` // and has pending
	Before  Number   `json:"long_trim_before_pct"`
	Moved   Number   `json:"long_trim_moved_pct"` // farthest; null: not read
	Off     Number   `json:"long_trim_off_pct"`   // at the end
	Back    Number   `json:"long_trim_back_s"`    // after the last release; null: it has not come back, or had not left
	// In what time after the end it will be back if the engine idles on, with the interval that holds it 19 times in 20; null: not foreseen, or open.
	Foreseen [3]Number `json:"long_trim_foreseen_s"`
}

func afterOf(a *session.Aftermath) After {
	none := Number(math.NaN())
	out := After{Stored: list(a.Stored), Pending: list(a.Pending), Before: none, Moved: none, Off: none, Back: none}
	if a.Learned() {
		out.Before, out.Moved, out.Off = Number(a.Before), Number(a.Most), Number(a.Now)
	}
	if after, back := a.IsBack(); back {
		out.Back = Number(after.Seconds())
	}
	out.Foreseen = [3]Number{none, none, none}
	if best, lo, hi, no := a.Foreseen(); !no {
		for i, d := range []time.Duration{best, lo, hi} {
			if d < 24*time.Hour {
				out.Foreseen[i] = Number(d.Seconds())
			}
		}
	}
	return out
}

// WriteStored prints what a stored session shows beside its verdict.
func WriteStored(w io.Writer, d *dossier.Dossier) {
	for _, e := range dossier.InOrder(d.Events) {
		term.Indent(w, fmt.Sprintf("%7.1f s  ", e.T), words.EventText(e))
	}
	for i, text := range words.AfterLines(&d.After) {
		line(w, map[bool]string{true: "after it"}[i == 0], text)
	}
	fmt.Fprintln(w)
	for _, r := range d.Conditions {
		f := words.RangeFact(r)
		line(w, f.What, f.Text)
	}
	fig := d.Figures
	if len(d.Switching) > 0 {
		fig.Readings = 0 // said by speed below, and better
	}
	for _, text := range words.FigureLines(d.Setup.Sensor.String(), fig) {
		term.Indent(w, "", text)
	}
	for _, f := range words.MeasureFacts(d) {
		line(w, f.What, f.Text)
	}
	WriteVehicleData(w, d)
}
