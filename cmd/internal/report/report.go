// Package report writes what a technician hands over after a test: one HTML file with
// nothing outside of it, for the car's owner on its first page and for a technician on
// those that follow. It prints on A4 and Letter, and needs no script.
package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/store"
)

// Report is all that a report says.
type Report struct {
	Shop    Shop
	Sides   []*Side // one session, or before and after
	Compare *Comparison
	Program string // version of this program
	Made    time.Time
	Paper   string // a4, letter; "" the printer's
}

// Shop is the head of the first page; what is empty is left out.
type Shop struct {
	Name, Technician, Vehicle, Odometer, Complaint string
	Logo                                           *Logo
}

// Side is one session. All of it follows from the session's records.
type Side struct {
	Title     string // Before, After; "" where there is one side only
	Session   store.Meta
	VIN       string // "" unless it was asked for
	Records   int
	Hash      []byte // of the records, as store.Content makes it
	Verdict   analysis.Verdict
	Reasons   []string // as the judge gives them
	Events    []analysis.Event
	Figures   analysis.Figures
	Facts     []Fact // conditions of the test
	Resting   []Fact
	Switching Table
	Map       trimmap.Map
	Codes     []Code
	NoCodes   string // said where there are none; "" they were not read
	Monitors  []Fact
	OwnTests  []Fact
	Freeze    string
	Trace     *Trace
}

// Table is a table with one head a column; the first column names the row.
type Table struct {
	Heads []string
	Rows  [][]string
	Note  string
}

// Fact is a name and what is so called.
type Fact struct{ What, Text string }

// Code is a trouble code as it was found first and last.
type Code struct {
	Code, State, Meaning string
	Before, After        string
	ByTest               bool
}

// Comparison is what the two sides of a repair come to.
type Comparison struct {
	Answer  compare.Answer
	Shifted bool
	Why     string
	Mean    []float64  // %, total trim before and after under the same conditions; nil: none
	Trims   [][]string // bank, speed, load, readings, before, after, difference, answer
	Sensor  [][]string // what, before, after, difference, answer
	Force   [][]string // what, before, after, answer
	Tests   [][]string // the computer's own, the same
	Codes   [][]string // code, change
	Open    [2]string  // monitors that are not complete
	Limits  []string
}

//go:embed report.html
var page string

//go:embed report.css
var pageCSS string

//go:embed plot.css
var plotCSS string

//go:embed colours.css
var colours string

var pageTemplate = template.Must(template.New("report").Funcs(template.FuncMap{
	"time": words.SessionTime, "text": words.EventText, "length": words.Length, "title": func(p analysis.ProofID) string { return words.ProofTitles[p] },
	"sign": func(s analysis.State) string { return words.StateSigns[s] }, "state": func(s analysis.State) string { return strings.ToLower(words.StateWords[s]) },
	"evidence": words.EvidenceText, "weighed": func() string { return words.Weighed }, "owner": func(p analysis.ProofID) string { return words.OwnerProofs[p] },
	"hex": func(b []byte) string { return fmt.Sprintf("%x", b) }, "day": func(t time.Time) string { return t.Format("2006-01-02 15:04 -07:00") },
	"big": func(c analysis.Conclusion) string { return words.ConclusionText(c) }, "tick": words.TickText, "place": words.SensorPlace,
	"rows": func(title string, rows [][]string) any {
		heads := []string{"before", "after", "answer"}
		if len(rows) > 0 && len(rows[0]) == 5 {
			heads = []string{"before", "after", "difference (95 %)", "answer"}
		}
		return struct {
			Title string
			Heads []string
			Rows  [][]string
		}{title, heads, rows}
	},
	"sentence": func(s string) string { return strings.ToUpper(s[:min(1, len(s))]) + s[min(1, len(s)):] },
	"short":    func(t time.Time) string { return t.Format("2 January 2006") },
}).Parse(page))

// WriteHTML writes the report.
func (r *Report) WriteHTML(w io.Writer) error {
	style := r.style()
	sum := sha256.Sum256([]byte(style))
	return pageTemplate.Execute(w, struct {
		*Report
		Style    template.CSS
		Policy   string
		Drawings Drawings
	}{r, template.CSS(style), "default-src 'none'; img-src data:; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'", r.draw()})
}

func (r *Report) style() string {
	size := map[string]string{"a4": "size:A4;", "letter": "size:letter;"}[r.Paper]
	ids := make([]string, len(r.Sides))
	for i, s := range r.Sides {
		ids[i] = plain(s.Session.ID)
	}
	return "@page{" + size + "margin:13mm 13mm 15mm;" +
		"@bottom-left{content:\"pushback, session " + strings.Join(ids, " and ") + "\";font:8pt sans-serif;color:#555}" +
		"@bottom-right{content:counter(page) \" / \" counter(pages);font:8pt sans-serif;color:#555}}\n" +
		colours + ring.CSS + plotCSS + pageCSS
}

// plain keeps what a session's id is made of: it goes into a style sheet.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, s)
}

// Last is the side that the first page speaks of.
func (r *Report) Last() *Side { return r.Sides[len(r.Sides)-1] }

// Owner is what the first page says.
func (r *Report) Owner() words.Owner {
	s := r.Last()
	byMixture := s.Session.By == "mixture"
	if c := r.Compare; c != nil {
		return words.OwnerCompared(c.Answer, c.Shifted, r.Sides[0].Verdict, s.Verdict, byMixture)
	}
	if s.Trace.Wide() {
		return words.OwnerWide()
	}
	return words.OwnerText(s.Verdict, byMixture, s.Forcing() != NotForced)
}

// Forcing is what shows that somebody forced the signal.
type Forcing int

const (
	NotForced   Forcing = iota // nothing does
	ForceMarked                // the technician's marks alone
	ForceSeen                  // the watcher saw a force
)

// Forcing is how the side's signal was forced.
func (s *Side) Forcing() Forcing {
	out := NotForced
	if slices.ContainsFunc(s.Trace.Ticks, func(k live.Tick) bool {
		return k.Mark != nil && (k.Mark.Kind == obd.MarkLean || k.Mark.Kind == obd.MarkRich)
	}) {
		out = ForceMarked
	}
	if slices.ContainsFunc(s.Events, func(e analysis.Event) bool { return e.Name == analysis.ForceBegins }) {
		out = ForceSeen
	}
	return out
}

// Vehicle is the car in the shop's words, else in the session's.
func (r *Report) Vehicle() string {
	if r.Shop.Vehicle != "" {
		return r.Shop.Vehicle
	}
	return r.Last().Session.Vehicle
}

// Simulated reports that a side is of no real car.
func (r *Report) Simulated() bool {
	return slices.ContainsFunc(r.Sides, func(s *Side) bool { return s.Session.Origin == "simulated" })
}

// ByTest lists the codes that the last test itself set.
func (r *Report) ByTest() (out []string) {
	for _, c := range r.Last().Codes {
		if c.ByTest && !slices.Contains(out, c.Code) {
			out = append(out, c.Code)
		}
	}
	return out
}

// Method is how the report came about.
func (r *Report) Method() []string {
	byWire, byMixture := false, false
	for _, s := range r.Sides {
		byWire, byMixture = byWire || s.Session.By != "mixture", byMixture || s.Session.By == "mixture"
	}
	return words.Method(byWire, byMixture)
}

// Limits of what any report shows.
func (r *Report) Limits() []string { return words.Limits }

// Cautions for who repeats the test.
func (r *Report) Cautions() []string { return words.Cautions(analysis.By(r.Last().Session.By)) }

// Words name the comparison's answer.
func (c *Comparison) Words() string { return words.Compared(c.Answer, c.Shifted) }

// Forced reports that there is a ring to show.
func (r *Report) Forced() bool {
	return r.Compare == nil || slices.ContainsFunc(r.Sides, func(s *Side) bool { return s.Verdict.Conclusion != analysis.NothingForced })
}

// Ring is the side's ring as an inline drawing.
func (s *Side) Ring() template.HTML {
	return template.HTML(ring.Of(s.Verdict).SVG(words.RingLabels(s.Session.Watching)))
}

// CanShow says what the readings' rate can and cannot show.
func (s *Side) CanShow() []string { return words.CanShow(s.Figures) }

// shownEvents is how many events are listed at most: days of driving have thousands.
const shownEvents = 120

// Listed are the events in the list, most telling first where there are too many.
func (s *Side) Listed() []analysis.Event {
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
func (s *Side) Unlisted() int { return len(s.Events) - len(s.Listed()) }

// Weighed is what was weighed of a force.
type Weighed struct {
	Head  string
	Lines []string
}

// Weighed lists what was weighed, force by force, for the first shownForces of them, and what
// was said and not seen. How the conclusion follows is left out, for the proofs stand beside it.
func (s *Side) Weighed() []Weighed {
	shown, _ := s.weighed()
	return shown
}

// Unweighed is how many forces that list leaves out.
func (s *Side) Unweighed() int {
	_, left := s.weighed()
	return left
}

// weighed parts the reasons, each of which is a head or, indented, a line below it.
func (s *Side) weighed() (shown []Weighed, left int) {
	forces, keep := 0, false
	for _, r := range s.Reasons {
		text := strings.TrimSpace(r)
		switch {
		case strings.HasPrefix(r, " "):
			if keep {
				w := &shown[len(shown)-1]
				w.Lines = append(w.Lines, text)
			}
			continue
		case strings.HasPrefix(r, analysis.ForceReason):
			forces++
			keep = forces <= shownForces
		default:
			keep = !strings.HasPrefix(r, analysis.ConclusionReason)
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
func (s *Side) LoadHeads() []string {
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
func (s *Side) MapRows(b trimmap.Result) (out []MapRow) {
	for i := range len(trimmap.SpeedEdges) - 1 {
		row := MapRow{edge(trimmap.SpeedEdges, i), make([]MapCell, len(trimmap.LoadEdges)-1)}
		any := false
		for _, c := range b.Cells {
			if c.Speed != i {
				continue
			}
			any = true
			m := MapCell{Text: fmt.Sprintf("%+.1f", c.Mean), Note: fmt.Sprintf("%d readings", c.Count)}
			if c.SD == c.SD {
				m.Note = fmt.Sprintf("±%.1f, %s", c.SD, m.Note)
			}
			switch {
			case c.Thin:
				m.Class, m.Note = "few", m.Note+", few"
			case c.Mean >= trimmap.Usual:
				m.Class, m.Text = "adds", m.Text+" ▲"
			case c.Mean <= -trimmap.Usual:
				m.Class, m.Text = "cuts", m.Text+" ▼"
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
		return fmt.Sprintf("%.0f and more", edges[i])
	}
	return fmt.Sprintf("%.0f to %.0f", edges[i], edges[i+1])
}

// FitText words a fit of total trim against air flow.
func (s *Side) FitText(f trimmap.Fit) string {
	if f.Model == trimmap.NoModel {
		return ""
	}
	at := func(i trimmap.Interval) string { return fmt.Sprintf("%+.1f %% (%+.1f to %+.1f)", i.Value, i.Lo, i.Hi) }
	if f.Model == trimmap.LevelOnly {
		return "Fitted level of total trim: " + at(f.B) + "."
	}
	return fmt.Sprintf("Fitted total trim (95 %% intervals): %s at %.3g %s, %s at %.3g, %s at %.3g.", at(f.AtLow), f.Low, s.Map.FlowUnit, at(f.AtMid), f.Mid, at(f.AtHigh), f.High)
}
