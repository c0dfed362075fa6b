package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/report"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// printedFact splits what a terminal gets, a name of twelve columns and a text, and
// joins the lines that have no name to the one before.
func printedFact(text string) (out []report.Fact) {
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		what, rest := line[:min(12, len(line))], line[min(12, len(line)):]
		if strings.TrimSpace(what) == "" && len(out) > 0 {
			out[len(out)-1].Text += "; " + strings.TrimSpace(rest)
			continue
		}
		out = append(out, report.Fact{What: strings.TrimSpace(what), Text: strings.TrimSpace(rest)})
	}
	return out
}

// switchingTable sets the sensor's figures at each engine speed beside what is usual.
func switchingTable(bands []bandJSON) (t report.Table) {
	if len(bands) == 0 {
		return t
	}
	t.Heads = []string{"how the sensor switches"}
	value := func(format string, v number) string {
		if math.IsNaN(float64(v)) {
			return "not measurable"
		}
		return fmt.Sprintf(format, float64(v))
	}
	var sources []string
	for _, row := range []struct {
		what  string
		limit string // of switching.Limit
		text  func(b bandJSON) string
	}{
		{"readings", "", func(b bandJSON) string { return fmt.Sprintf("%d, %.1f/s", b.Readings, float64(b.PerSecond)) }},
		{"lowest (1 %)", "lowest voltage, V", func(b bandJSON) string { return value("%.2f V", b.Low) }},
		{"highest (99 %)", "highest voltage, V", func(b bandJSON) string { return value("%.2f V", b.High) }},
		{"swing", "swing, V", func(b bandJSON) string { return value("%.2f V", b.High-b.Low) }},
		{"mean", "", func(b bandJSON) string { return value("%.2f V", b.Mean) }},
		{"rich of the time", "", func(b bandJSON) string { return value("%.0f %%", 100*b.ShareRich) }},
		{"changes of side in 10 s", "changes of side in 10 s", func(b bandJSON) string { return value("%.1f", b.Per10s) }},
		{"period", "", func(b bandJSON) string { return value("%.2f s", b.Period) }},
		{"rise from 0.30 to 0.60 V", "rise from 0.30 to 0.60 V, s", func(b bandJSON) string { return b.Rise.Text }},
		{"fall from 0.60 to 0.30 V", "fall from 0.60 to 0.30 V, s", func(b bandJSON) string { return b.Fall.Text }},
	} {
		cells, usual := []string{row.what}, ""
		for _, b := range bands {
			text := row.text(b)
			for _, l := range b.Limits {
				if l.What != row.limit {
					continue
				}
				if usual = strings.TrimSpace(l.Usual); !slices.Contains(sources, l.Source) {
					sources = append(sources, l.Source)
				}
				switch l.State {
				case "between":
					text += ", borderline"
				case "unusual":
					text += ", not usual"
				}
			}
			cells = append(cells, text)
		}
		t.Rows = append(t.Rows, append(cells, usual))
	}
	for _, b := range bands {
		t.Heads = append(t.Heads, b.Band)
	}
	t.Heads = append(t.Heads, "usual")
	if len(sources) > 0 {
		t.Note = "Usual by: " + strings.Join(sources, "; ") + ". None of these alone makes a sensor bad."
	}
	return t
}

func restFacts(sensor string, f analysis.Figures) (out []report.Fact) {
	for _, line := range words.FigureLines(sensor, f) {
		switch line = strings.TrimSpace(line); {
		case strings.HasPrefix(line, sensor+" "), strings.HasPrefix(line, "trim "):
			what, text, _ := strings.Cut(line, " ")
			out = append(out, report.Fact{What: what, Text: strings.TrimSpace(text)})
		case len(out) > 0:
			out[len(out)-1].Text += "; " + line
		}
	}
	return out
}

func testFacts(m store.Meta, c conditions, t tellings, forced report.Forcing) []report.Fact {
	out := []report.Fact{{What: "Forced", Text: m.Watching + ", by the " + m.By}}
	switch forced {
	case report.NotForced:
		out = []report.Fact{{What: "Watched", Text: m.Watching}}
	case report.ForceMarked:
		out[0].Text += ", as the technician marked; the reading shows no force"
	}
	add := func(what, text string) {
		if text != "" {
			out = append(out, report.Fact{What: what, Text: text})
		}
	}
	if m.Origin != "import" {
		add("Bus", m.Format.Bus.String())
	}
	add("Adapter", m.Adapter)
	add("Sensors of the car", strings.Join(m.Sensors, ", "))
	for _, k := range shownConditions {
		if r := c.ranges[k.name]; r != nil {
			add(strings.ToUpper(k.what[:1])+k.what[1:], fmt.Sprintf("%.4g to %.4g %s (%d readings)", r.min, r.max, r.unit, r.n))
		}
	}
	total := 0
	var kinds []byte
	for b, n := range t.status {
		total += n
		kinds = append(kinds, b)
	}
	slices.SortFunc(kinds, func(a, b byte) int { return t.status[b] - t.status[a] })
	var parts []string
	for _, b := range kinds {
		parts = append(parts, fmt.Sprintf("%s in %.0f %%", words.FuelStatus(b), 100*float64(t.status[b])/float64(total)))
	}
	if total > 0 {
		add("Fuel system", fmt.Sprintf("%s of %d readings", strings.Join(parts, ", "), total))
	} else {
		add("Fuel system", "its status was not read")
	}
	add("Label", m.Label)
	return out
}

// digest is a sink that counts the records and hashes them.
type digest struct {
	content store.Content
	records int
}

func (d *digest) Write(f session.Frame) error {
	if f.Last {
		return nil
	}
	d.records++
	return d.content.Add(f.Record)
}

// tellings is a sink that keeps what the records tell at the beginning, and their hash.
type tellings struct {
	digest
	can    bool
	codes  map[string][]string // first reading of each state
	times  map[string]int      // how often each state was read
	status map[byte]int        // readings of FUELSYS1 by value
}

func newTellings(m store.Meta) tellings {
	return tellings{digest: digest{content: store.NewContent()}, can: m.Format.Bus.CAN(), codes: map[string][]string{}, times: map[string]int{}, status: map[byte]int{}}
}

func (t *tellings) Write(f session.Frame) error {
	for _, s := range f.Samples {
		if s.Signal.Name == "FUELSYS1" && !s.Missing {
			t.status[byte(s.Value)]++
		}
	}
	if x := f.Record.Exchange; x != nil && !f.Last {
		t.tells(x)
	}
	return t.digest.Write(f)
}

// tells counts a reading of codes and keeps the first of each state. One that cannot be
// decoded was none.
func (t *tellings) tells(x *obd.Exchange) {
	state := session.CodeState(x.Request.Service)
	if state == "" || x.Outcome != obd.OK {
		return
	}
	all := []string{}
	for _, r := range x.Replies {
		c, err := decode.Codes(x.Request.Service, t.can, r.Data)
		if err != nil {
			return
		}
		all = append(all, c...)
	}
	if t.times[state]++; t.times[state] == 1 {
		t.codes[state] = all
	}
}

var codeStates = []string{"stored", "pending", "permanent"}

// codesOver lists each code that was there at the beginning or the end. What was read once
// is not said to have been read at both.
func codesOver(t tellings, e *evidence) (out []report.Code) {
	said := func(list []string, code string) string {
		if slices.Contains(list, code) {
			return "there"
		}
		return "not there"
	}
	for _, state := range codeStates {
		all := slices.Concat(t.codes[state], e.Codes[state])
		slices.Sort(all)
		for _, code := range slices.Compact(all) {
			c := report.Code{Code: code, State: state, Meaning: words.TroubleCode(code), Before: said(t.codes[state], code), After: "not read again",
				ByTest: slices.ContainsFunc(e.events, func(v analysis.Event) bool { return v.Name == analysis.CodeSet && v.Code == code })}
			if last, read := e.Codes[state]; read && t.times[state] > 1 { // not read since they were cleared, else
				c.After = said(last, code)
			}
			out = append(out, c)
		}
	}
	return out
}

// noCodes says which kinds of codes were read and not found, and when; "" where none was read.
func noCodes(t tellings, e *evidence) string {
	var once, twice []string
	for _, state := range codeStates {
		_, last := e.Codes[state]
		switch n := t.times[state]; {
		case n > 1 && last:
			twice = append(twice, state)
		case n > 0:
			once = append(once, state)
		}
	}
	var parts []string
	if len(twice) > 0 {
		parts = append(parts, "no "+orList(twice)+" codes, neither at the beginning nor at the end")
	}
	if len(once) > 0 {
		parts = append(parts, "no "+orList(once)+" codes when they were read")
	}
	if len(parts) == 0 {
		return ""
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

func orList(words []string) string {
	last := len(words) - 1
	if last == 0 {
		return words[0]
	}
	return strings.Join(words[:last], ", ") + " or " + words[last]
}

// monitorsOver are the monitors as first and last read, or as read once.
func monitorsOver(f *session.Findings) (out []report.Fact) {
	first := f.Began
	for c := f.Cleared; c != nil; c = c.Cleared {
		if c.Began != nil {
			first = c.Began
		}
	}
	switch last := f.Readiness; {
	case first == nil:
	case last == nil || last == first: // the same reading, not an equal one
		out = []report.Fact{{What: "When they were read", Text: words.Readiness(first)}}
	default:
		out = []report.Fact{{What: "At the beginning", Text: words.Readiness(first)}, {What: "At the end", Text: words.Readiness(last)}}
	}
	return out
}

// comparedFor words a comparison for the report.
func comparedFor(c comparison) *report.Comparison {
	out := &report.Comparison{Answer: c.Answer, Shifted: c.Shifted, Why: c.Why, Limits: c.Limits}
	row := func(bank, speed, load string, x changeJSON, answer string) {
		out.Trims = append(out.Trims, []string{bank, speed, load, fmt.Sprintf("%d, %d", x.Count[0], x.Count[1]), fmt.Sprintf("%+.1f", float64(x.Mean[0])),
			fmt.Sprintf("%+.1f", float64(x.Mean[1])), fmt.Sprintf("%+.1f (%+.1f to %+.1f)", x.Diff.Value, x.Diff.Lo, x.Diff.Hi), answer})
	}
	for _, x := range c.Cells {
		answer := words.Compared(x.Answer, false)
		if x.Shifted && answer == words.Compared("no_difference_shown", false) {
			answer = "moved"
		}
		if x.Warming {
			answer += ", still warming"
		}
		row(fmt.Sprint(x.Bank), from(*x.RPM), from(*x.Load), x, answer)
	}
	if c.Overall != nil {
		out.Mean = []float64{float64(c.Overall.Mean[0]), float64(c.Overall.Mean[1])}
		row("all", "", "", *c.Overall, out.Words())
	}
	for _, p := range c.Sensor {
		if cells, ok := p.row(); ok {
			out.Sensor = append(out.Sensor, cells)
		}
	}
	for _, p := range c.Force {
		cells := p.row()
		if t := words.ProofTitles[analysis.ProofID(p.What)]; t != "" {
			cells[0] = t
		}
		out.Force = append(out.Force, cells)
	}
	for _, p := range c.Tests {
		if cells, ok := p.row(); ok {
			out.Tests = append(out.Tests, cells)
		}
	}
	for _, x := range c.Codes {
		change := x.Change
		if x.ByTest {
			change += ", set by the test"
		}
		out.Codes = append(out.Codes, []string{x.Code, x.State, change, x.Meaning})
	}
	for i, open := range c.Open {
		if out.Open[i] = strings.Join(open, ", "); len(open) == 0 {
			out.Open[i] = "none known"
		}
	}
	return out
}
