package report

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/reason"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// Subject is one session in words and drawings. All of it follows from the session's records.
type Subject struct {
	Title     string // Before, After; "" where there is one only
	Session   store.Meta
	VIN       string // "" unless it was asked for
	Records   int
	Hash      []byte // of the records, as store.Content makes it
	Verdict   analysis.Verdict
	Reasons   []reason.Reason // as the judge gives them
	Events    []analysis.Event
	Figures   analysis.Figures
	Forced    dossier.Forcing
	Facts     []words.Fact // conditions of the test
	Resting   []words.Fact
	Switching Table
	Map       trimmap.Map
	Told      Told
	Trace     *dossier.Trace
	Meter     []string // readings of the visit that it belongs to, in words; a visit's report has them itself
}

// by is what was forced, sensor where; the store keeps both by name. A name that is none gives no sensor.
func (s *Subject) by() analysis.By { return analysis.By(s.Session.By) }

func (s *Subject) sensor() decode.SensorID {
	id, _ := decode.ParseSensorID(s.Sensors()[0])
	return id
}

// Sensors are those whose wires were tested: that of the verdict first, then the other bank's where both were held.
func (s *Subject) Sensors() []string {
	if v := s.Verdict; v.Beside != nil {
		return []string{v.Sensor, v.Beside.Sensor}
	}
	return []string{s.Session.Watching}
}

// Frozen is a freeze frame in words.
type Frozen struct {
	Head  string
	Facts []words.Fact
}

// Told is what the car's computers told of themselves, in words.
type Told struct {
	Codes    []Code
	NoCodes  string // said where there are none; "" they were not read
	Monitors []words.Fact
	OwnTests []words.Fact
	Freeze   []Frozen
	After    []string
}

// Code is a trouble code as it was found first and last.
type Code struct {
	Code, State, Meaning string
	Before, After        string
	ByTest               bool
}

// Table is a table with one head a column; the first column names the row.
type Table struct {
	Heads []string
	Rows  [][]string
	Note  string
}

// NewSubject words a session's dossier, which has traces.
func NewSubject(m store.Meta, d *dossier.Dossier) *Subject {
	s := &Subject{Session: m, Records: d.Records, Hash: d.Sum, Verdict: d.Verdict, Reasons: d.Reasons, Events: dossier.InOrder(d.Events), Figures: d.Figures,
		Forced: d.Forcing(), Facts: conditionFacts(m, d), Switching: switchingTable(d.Switching), Told: told(d), Trace: d.Trace, Map: d.Trims(0)}
	for _, r := range words.Resting(m.Watching, d.Figures) {
		s.Resting = append(s.Resting, words.Fact{What: r.What, Text: strings.Join(r.Lines, "; ")})
	}
	s.Resting = append(s.Resting, words.MeasureFacts(d)...)
	return s
}

func conditionFacts(m store.Meta, d *dossier.Dossier) []words.Fact {
	forced, conditions := words.ConditionFacts(d)
	out := []words.Fact{forced}
	add := func(what, text string) {
		if text != "" {
			out = append(out, words.Fact{What: what, Text: text})
		}
	}
	if m.Origin != "import" {
		add("Bus", words.BusText(m.Format.Bus.String(), m.Format.Dialect.String()))
	}
	add("Adapter", m.Adapter)
	add("Sensors of the car", strings.Join(m.Sensors, ", "))
	out = append(out, conditions...)
	add("Label", m.Label)
	return out
}

func told(d *dossier.Dossier) Told {
	t := Told{NoCodes: words.NoCodes(d.History), Monitors: words.ReadinessFacts(d.Readiness), After: words.AfterLines(&d.After)}
	for _, c := range d.History.Codes {
		t.Codes = append(t.Codes, Code{Code: c.Code.Code, State: c.State, Meaning: words.TroubleCode(c.Code.Code),
			Before: words.PresenceText(c.First), After: words.PresenceText(c.Last), ByTest: c.ByTest})
	}
	for _, x := range d.Tests {
		t.OwnTests = append(t.OwnTests, words.OwnTestFact(x))
	}
	all := d.MoreFreeze
	if d.Freeze != nil {
		all = append([]dossier.Freeze{*d.Freeze}, all...)
	}
	for _, f := range all {
		t.Freeze = append(t.Freeze, Frozen{words.FreezeHead(f), words.FreezeFacts(f)})
	}
	return t
}

// switchingTable sets the sensor's figures at each engine speed beside what is usual.
func switchingTable(bands []switching.SpeedBand) (t Table) {
	if len(bands) == 0 {
		return t
	}
	t.Heads = []string{"how the sensor switches"}
	var sources []string
	for _, row := range words.SwitchingRows {
		cells, usual := []string{row.What}, ""
		for _, b := range bands {
			text := row.Text(b)
			for _, l := range b.Limits {
				if l.What != row.Limit {
					continue
				}
				if usual = strings.TrimSpace(l.Usual); !slices.Contains(sources, l.Source) {
					sources = append(sources, l.Source)
				}
				if is := words.LimitText(l.State); is != "" {
					text += ", " + is
				}
			}
			cells = append(cells, text)
		}
		t.Rows = append(t.Rows, append(cells, usual))
	}
	for _, b := range bands {
		t.Heads = append(t.Heads, b.Name)
	}
	t.Heads = append(t.Heads, "usual")
	if len(sources) > 0 {
		t.Note = "Usual by: " + strings.Join(sources, "; ") + ". None of these alone makes a sensor bad."
	}
	return t
}

func (s *Subject) trace() trace { return trace{s.Trace} }

// Notes lists what the technician said.
func (s *Subject) Notes() (out []dossier.Tick) {
	for _, k := range s.Trace.Ticks {
		if k.Mark != nil && k.Mark.Kind != obd.MarkStop {
			out = append(out, k)
		}
	}
	return out
}

// Ring is the subject's ring as an inline drawing.
func (s *Subject) Ring() template.HTML {
	return template.HTML(ring.Of(s.Verdict).SVG(words.RingLabels(s.sensor())))
}

// CanShow says what the readings' rate can and cannot show.
func (s *Subject) CanShow() []string { return words.CanShow(s.Figures) }

// shownEvents is how many events are listed at most: days of driving have thousands.
const shownEvents = 120

// Listed are the events in the list, most telling first where there are too many.
func (s *Subject) Listed() []analysis.Event {
	if len(s.Events) <= shownEvents {
		return s.Events
	}
	var out []analysis.Event
	for _, e := range s.Events {
		if e.Name != analysis.Ready && e.Name != analysis.NotReady {
			out = append(out, e)
		}
	}
	return out[:min(len(out), shownEvents)]
}

// Unlisted is how many events the list leaves out.
func (s *Subject) Unlisted() int { return len(s.Events) - len(s.Listed()) }

// Weighed is what was weighed of a force.
type Weighed struct {
	Head  string
	Lines []string
}

// Weighed lists what was weighed, force by force, for the first shownForces of them, and what
// was said and not seen. How the conclusion follows is left out, for the proofs stand beside it.
func (s *Subject) Weighed() []Weighed {
	shown, _ := s.weighed()
	return shown
}

// Unweighed is how many forces that list leaves out.
func (s *Subject) Unweighed() int {
	_, left := s.weighed()
	return left
}

// weighed parts the reasons, each of which is a head or, indented, a line below it.
func (s *Subject) weighed() (shown []Weighed, left int) {
	forces, keep := 0, false
	for _, r := range s.Reasons {
		text := strings.TrimSpace(why.Text(r))
		switch {
		case r.Below():
			if keep {
				w := &shown[len(shown)-1]
				w.Lines = append(w.Lines, text)
			}
			continue
		case r.Has(reason.Force):
			forces++
			keep = forces <= shownForces
		default:
			keep = !r.Has(reason.Concluded)
		}
		if keep {
			shown = append(shown, Weighed{Head: text})
		}
	}
	return shown, max(0, forces-shownForces)
}

// shownForces is how many forces a report goes through: more would bury the rest of it.
const shownForces = 8

// LoadHeads are the columns of a trim map.
func (s *Subject) LoadHeads() []string {
	out := make([]string, len(trimmap.LoadEdges)-1)
	for i := range out {
		out[i] = edge(trimmap.LoadEdges, i)
	}
	return out
}

// MapRow is a speed's cells.
type MapRow struct {
	Speed string
	Cells []MapCell
}

// MapCell is one cell; without readings its Text is empty.
type MapCell struct{ Text, Note, Class string }

// MapRows is a bank's map as a table.
func (s *Subject) MapRows(b trimmap.Result) (out []MapRow) {
	for i := range len(trimmap.SpeedEdges) - 1 {
		row := MapRow{edge(trimmap.SpeedEdges, i), make([]MapCell, len(trimmap.LoadEdges)-1)}
		any := false
		for _, c := range b.Cells {
			if c.Speed != i {
				continue
			}
			any = true
			m := MapCell{Text: words.Signed(c.Mean, 1), Note: fmt.Sprintf("%d readings", c.Count)}
			if c.SD == c.SD {
				m.Note = fmt.Sprintf("±%.1f, %s", c.SD, m.Note)
			}
			switch {
			case c.Thin:
				m.Class, m.Note = "few", m.Note+", few"
			case c.Mean >= trimmap.Usual:
				m.Class = "adds"
			case c.Mean <= -trimmap.Usual:
				m.Class = "cuts"
			}
			row.Cells[c.Load] = m
		}
		if any {
			out = append(out, row)
		}
	}
	return out
}

func edge(edges []float64, i int) string {
	if edges[i+1] > 1e9 {
		return fmt.Sprintf("%.0f and up", edges[i])
	}
	return fmt.Sprintf("%.0f to %.0f", edges[i], edges[i+1])
}

// FitText words a fit of total trim against air flow.
func (s *Subject) FitText(f trimmap.Fit) string {
	if f.Model == trimmap.NoModel {
		return ""
	}
	at := func(i trimmap.Interval) string {
		return fmt.Sprintf("%s %% (%s to %s)", words.Signed(i.Value, 1), words.Signed(i.Lo, 1), words.Signed(i.Hi, 1))
	}
	if f.Model == trimmap.LevelOnly {
		return "Fitted level of total trim: " + at(f.B) + "."
	}
	return fmt.Sprintf("Fitted total trim (95 %% intervals): %s at %.3g %s, %s at %.3g, %s at %.3g.", at(f.AtLow), f.Low, s.Map.FlowUnit, at(f.AtMid), f.Mid, at(f.AtHigh), f.High)
}
