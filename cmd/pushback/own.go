package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/cmd/internal/words"
	"pushback/decode"
)

// What the computers told of themselves, and how the sensor switches, as `vehicle` and
// `show` print it.

// toldJSON is what a session's computers told of themselves.
type toldJSON struct {
	Codes    []codeReport  `json:"codes"`
	Freeze   *freezeJSON   `json:"freeze_frame"` // null: none
	Monitors *monitorsJSON `json:"monitors"`     // null: not read
	Tests    []ownTest     `json:"own_tests"`
	Cleared  *clearedState `json:"cleared"` // what was there when codes were cleared; null: they were not
}

// toldOf puts the figures of a recording's bands beside the computers' own.
func toldOf(found *session.Findings, events []analysis.Event, bands []switching.Band, watching string) toldJSON {
	t := toldJSON{Codes: codesOf(found), Freeze: freezeOf(found.Freeze), Monitors: monitorsOf(found), Tests: testsOf(found.Tests, bands, watching)}
	for i := range t.Codes {
		t.Codes[i].ByTest = slices.ContainsFunc(events, func(v analysis.Event) bool { return v.Name == analysis.CodeSet && v.Code == t.Codes[i].Code })
	}
	if found.Cleared != nil {
		before := findingsOf(found.Cleared)
		t.Cleared = &before
	}
	return t
}

const foundUsage = "with --json: print, before the verdict, what the computers told of themselves too (codes, freeze frame, monitors, own tests)"

// foundLine is the JSON line of a session that runs, or runs again: what the computers
// told, beside the recording's figures over all speeds (`show --json` has them by speed).
type foundLine struct {
	Kind string `json:"kind"`
	toldJSON
}

func foundLineOf(found *session.Findings, events []analysis.Event, f analysis.Figures, watching string) foundLine {
	nan := math.NaN()
	all := switching.Band{Low: f.Low, High: f.High, Mean: f.Mean, Per10s: f.Per10s, PerSecond: f.PerSecond, Period: nan, Readings: f.Readings}
	return foundLine{"found", toldOf(found, events, []switching.Band{all}, watching)}
}

// foundJSON is what a stored session shows apart from its verdict.
type foundJSON struct {
	toldJSON
	Switching []bandJSON `json:"switching"`
}

func foundOf(e *evidence) foundJSON {
	bands := e.bands()
	return foundJSON{toldOf(e.Findings, e.events, bands, e.meta.Watching), bandsOf(bands)}
}

func (f foundJSON) print(w io.Writer) {
	if f.Cleared != nil {
		fmt.Fprintln(w, "before the codes were cleared:")
		f.Cleared.print(w)
		fmt.Fprintln(w, "after:")
	}
	for _, c := range f.Codes {
		fmt.Fprintf(w, "%-12s %s\n", "code", codeText(c))
	}
	writeFreeze(w, f.Freeze)
	if f.Monitors != nil {
		fmt.Fprintf(w, "%-12s %s\n", "monitors", f.Monitors.text())
	}
	writeOwnTests(w, f.Tests)
	for _, b := range f.Switching {
		b.print(w)
	}
}

type bandJSON struct {
	Band      string            `json:"band"`
	Readings  int               `json:"readings"`
	PerSecond number            `json:"readings_per_s"`
	Low       number            `json:"low_v"`
	High      number            `json:"high_v"`
	Mean      number            `json:"mean_v"`
	ShareRich number            `json:"share_rich"`
	Per10s    number            `json:"changes_in_10s"` // null: not measurable at this rate
	Period    number            `json:"period_s"`
	Rich      number            `json:"rich_s"`
	Lean      number            `json:"lean_s"`
	Rise      edgeJSON          `json:"rise_0_30_to_0_60"`
	Fall      edgeJSON          `json:"fall_0_60_to_0_30"`
	Limits    []switching.Limit `json:"limits"`
}

type edgeJSON struct {
	AtLeast number `json:"at_least_s"` // null: not measurable at this rate
	AtMost  number `json:"at_most_s"`
	Text    string `json:"text"`
}

func bandsOf(bands []switching.Band) []bandJSON {
	out := []bandJSON{}
	for _, b := range bands {
		edge := func(e switching.Edge) edgeJSON {
			j := edgeJSON{number(math.NaN()), number(math.NaN()), e.Text(b.PerSecond)}
			if e.Shown() {
				j.AtLeast, j.AtMost = number(e.AtLeast), number(e.AtMost)
			}
			return j
		}
		out = append(out, bandJSON{b.Name, b.Readings, number(b.PerSecond), number(b.Low), number(b.High), number(b.Mean), number(b.ShareRich),
			number(b.Per10s), number(b.Period), number(b.Rich), number(b.Lean), edge(b.Rise), edge(b.Fall), some(b.Limits)})
	}
	return out
}

func (b bandJSON) print(w io.Writer) {
	fmt.Fprintf(w, "%-12s %s: %.2f to %.2f V, mean %.2f V, rich %.0f %% of %d readings (%.1f/s)\n", "switching", b.Band,
		float64(b.Low), float64(b.High), float64(b.Mean), 100*float64(b.ShareRich), b.Readings, float64(b.PerSecond))
	line := func(format string, args ...any) {
		fmt.Fprintf(w, "%-12s   "+format+"\n", append([]any{""}, args...)...)
	}
	switch {
	case math.IsNaN(float64(b.Per10s)):
		line("changes of side not measurable at %.1f readings/s", float64(b.PerSecond))
	case math.IsNaN(float64(b.Period)):
		line("%.1f changes of side in 10 s", float64(b.Per10s))
	default:
		line("%.1f changes of side in 10 s; period %.2f s, rich %.2f s, lean %.2f s", float64(b.Per10s), float64(b.Period), float64(b.Rich), float64(b.Lean))
	}
	line("rise 0.30 to 0.60 V %s; fall %s", b.Rise.Text, b.Fall.Text)
	for _, l := range b.Limits {
		if l.State != "usual" {
			line("%s %.2f is %s (usual: %s; %s)", l.What, l.Value, map[string]string{"between": "borderline", "unusual": "not usual"}[l.State], l.Usual, l.Source)
		}
	}
}

func codesOf(f *session.Findings) []codeReport {
	out := []codeReport{}
	for _, state := range []string{"stored", "pending", "permanent"} {
		for _, c := range f.Codes[state] {
			out = append(out, codeReport{Code: c, State: state, Meaning: words.TroubleCode(c)})
		}
	}
	return out
}

type monitorsJSON struct {
	Complete    []string `json:"complete"`
	NotComplete []string `json:"not_complete"`
	Finished    []string `json:"finished_here"` // during this session
}

func monitorsOf(f *session.Findings) *monitorsJSON {
	if f.Readiness == nil {
		return nil
	}
	m := &monitorsJSON{Complete: []string{}, NotComplete: some(f.Readiness.Incomplete()), Finished: finished(f.Began, f.Readiness)}
	for _, x := range f.Readiness.Monitors {
		if x.Supported && x.Complete {
			m.Complete = append(m.Complete, x.Name)
		}
	}
	return m
}

// finished lists the monitors that were open before and are complete now.
func finished(before, now *decode.Readiness) []string {
	out := []string{}
	if before != nil && now != nil {
		open := now.Incomplete()
		for _, name := range before.Incomplete() {
			if !slices.Contains(open, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

func (m monitorsJSON) text() string {
	text := "all complete"
	if len(m.NotComplete) > 0 {
		text = fmt.Sprintf("%d of %d complete; not yet: %s", len(m.Complete), len(m.Complete)+len(m.NotComplete), strings.Join(m.NotComplete, ", "))
	}
	if len(m.Finished) > 0 {
		text += "; finished in this session: " + strings.Join(m.Finished, ", ")
	}
	return text
}

// ownTest is one of the computer's own figures beside the recording's.
type ownTest struct {
	ID       string `json:"id"` // service, monitor, test or part in hexadecimal
	Sensor   string `json:"sensor"`
	What     string `json:"what"`
	Unit     string `json:"unit"`
	Value    number `json:"value"`
	Min      number `json:"min"` // null: no limit
	Max      number `json:"max"`
	Passed   bool   `json:"passed"`
	NotRun   bool   `json:"not_run"`  // not completed since the codes were cleared
	Recorded number `json:"recorded"` // the same from the recording; null: not measured
	Differs  string `json:"differs"`  // in words; "" it does not

	result decode.TestResult
}

// testsOf puts the recording's figures of the watched sensor beside the computer's.
func testsOf(tests []decode.TestResult, bands []switching.Band, sensor string) []ownTest {
	out := []ownTest{}
	for _, t := range tests {
		id := fmt.Sprintf("05 %02X", t.Test)
		switch {
		case t.Monitor != 0:
			id = fmt.Sprintf("06 %02X/%02X", t.Monitor, t.Test)
		case t.Service == 6:
			id = fmt.Sprintf("06 %02X part %02X", t.Test, t.Part)
		}
		o := ownTest{ID: id, Sensor: t.Sensor, What: t.What, Unit: t.Unit, Value: number(t.Value), Min: number(t.Min), Max: number(t.Max),
			Passed: t.Passed(), NotRun: t.NotRun, Recorded: number(math.NaN()), result: t}
		if t.Sensor == sensor && (t.Service == 5 || t.Monitor <= 0x10) && !t.NotRun {
			o.compare(t, bands)
		}
		out = append(out, o)
	}
	return out
}

// What counts as a difference: a computer's test cycle is another one than the recording, so
// only much (our own).
const (
	differsVolts = 0.15
	differsRatio = 1.6
)

// compare puts the recording's figure beside a test: that of the first kind of engine speed
// that agrees, for the computer does not say at which it measured; else that at the first.
func (o *ownTest) compare(t decode.TestResult, bands []switching.Band) {
	for i, b := range bands {
		x := *o
		x.beside(t, b)
		if i == 0 || x.Differs == "" && !math.IsNaN(float64(x.Recorded)) {
			o.Recorded, o.Differs = x.Recorded, x.Differs
		}
		if o.Differs == "" && !math.IsNaN(float64(o.Recorded)) {
			return
		}
	}
}

// beside finds the recording's own figure for a test of service 05 or 06 at one kind of
// engine speed.
func (o *ownTest) beside(t decode.TestResult, b switching.Band) {
	switch t.Test {
	case 0x05, 0x06:
		e := b.Fall
		if t.Test == 0x06 {
			e = b.Rise
		}
		if !e.Shown() {
			return
		}
		o.Recorded = number((e.AtLeast + e.AtMost) / 2)
		if t.Value > differsRatio*e.AtMost || t.Value < e.AtLeast/differsRatio {
			o.Differs = "the recording shows another speed"
		}
	case 0x07:
		o.Recorded = number(b.Low)
		if b.Low < t.Value-differsVolts {
			o.Differs = "the recording goes lower"
		} else if b.Low > t.Value+differsVolts {
			o.Differs = "the recording does not go as low"
		}
	case 0x08:
		o.Recorded = number(b.High)
		if b.High > t.Value+differsVolts {
			o.Differs = "the recording goes higher"
		} else if b.High < t.Value-differsVolts {
			o.Differs = "the recording does not go as high"
		}
	case 0x09, 0x0A:
		if t.Test == 0x09 && b.Per10s > 0 {
			o.Recorded = number(10 / b.Per10s)
		} else if t.Test == 0x0A {
			o.Recorded = number(b.Period)
		}
		if r := float64(o.Recorded) / t.Value; t.Value > 0 && (r > differsRatio || r < 1/differsRatio) {
			o.Differs = "the recording shows another pace"
		}
	}
}

func writeOwnTests(w io.Writer, tests []ownTest) {
	for i, t := range tests {
		what := ""
		if i == 0 {
			what = "own tests"
		}
		text := strings.TrimSpace(t.Sensor+" "+t.What) + ": " + resultText(t.result)
		if !math.IsNaN(float64(t.Recorded)) {
			text += fmt.Sprintf("; recording %.3g", float64(t.Recorded))
		}
		if t.Differs != "" {
			text += " (" + t.Differs + ")"
		}
		fmt.Fprintf(w, "%-12s %s\n", what, text)
	}
}

// freezeJSON is a freeze frame.
type freezeJSON struct {
	Code    string        `json:"code"`
	Meaning string        `json:"meaning"`
	Values  []freezeValue `json:"values"`
}

type freezeValue struct {
	Name  string `json:"name"`
	Value number `json:"value"`
	Unit  string `json:"unit"`
}

func freezeOf(f *session.Freeze) *freezeJSON {
	if f == nil {
		return nil
	}
	out := &freezeJSON{Code: f.Code, Meaning: words.TroubleCode(f.Code), Values: []freezeValue{}}
	for _, s := range f.Samples {
		if s.Missing || slices.ContainsFunc(out.Values, func(v freezeValue) bool { return v.Name == s.Signal.Name }) {
			continue
		}
		out.Values = append(out.Values, freezeValue{s.Signal.Name, number(s.Value), s.Signal.Unit})
	}
	return out
}

func writeFreeze(w io.Writer, f *freezeJSON) {
	if f == nil {
		return
	}
	var values []string
	for _, v := range f.Values {
		text := fmt.Sprintf("%s %.4g %s", v.Name, float64(v.Value), v.Unit)
		if strings.HasPrefix(v.Name, "FUELSYS") {
			if v.Value == 0 {
				continue
			}
			text = v.Name + " " + words.FuelStatus(byte(v.Value))
		}
		values = append(values, strings.TrimSpace(text))
	}
	fmt.Fprintf(w, "%-12s when %s was set: %s\n", "freeze frame", f.Code, strings.Join(values, ", "))
}
