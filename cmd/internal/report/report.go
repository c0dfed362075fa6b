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
	"pushback/analysis/agenda"
	"pushback/analysis/dossier"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/store"
)

// Report is all that a report says.
type Report struct {
	Shop     Shop
	Subjects []*Subject // one session, before and after, or all of a visit in order of time
	Compare  *Comparison
	Pair     [2]*Subject // that are compared; nil: the first and the last
	Others   []Pairing   // the other sensors that the visit tested
	Visit    *Visit      // nil: of no visit
	Program  string      // version of this program
	Made     time.Time
	Paper    string // a4, letter; "" the printer's
}

// Visit is what a report says of the visit that its sessions belong to.
type Visit struct {
	store.Visit
	Open []string // work that is open, in words
}

// Shop is the head of the first page; what is empty is left out.
type Shop struct {
	Name, Technician, Vehicle, Odometer, Complaint string
	Logo                                           *Logo
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
	"evidence": words.EvidenceText, "because": why.Text, "weighed": func() string { return words.Weighed }, "owner": func(p analysis.ProofID) string { return words.OwnerProofs[p] },
	"idleText": func(i *trimmap.Idle) string { return words.IdleText(*i) }, "nothingopen": func() string { return words.NothingOpen },
	"hex": func(b []byte) string { return fmt.Sprintf("%x", b) }, "day": func(t time.Time) string { return t.Format("2006-01-02 15:04 -07:00") },
	"big": words.VerdictOf, "rest": words.Rest, "first": words.First, "tick": words.TickText, "place": words.SensorPlace, "answer": func(v *analysis.Verdict) string { return words.OwnerText(*v, analysis.ByWire, true).Answer },
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
	ids := make([]string, len(r.Subjects))
	for i, s := range r.Subjects {
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

// Last is the subject that the first page speaks of.
func (r *Report) Last() *Subject {
	if s := r.Pair[1]; s != nil {
		return s
	}
	return r.Subjects[len(r.Subjects)-1]
}

// First is the subject that the last is compared with.
func (r *Report) First() *Subject {
	if s := r.Pair[0]; s != nil {
		return s
	}
	return r.Subjects[0]
}

// Sides are the two that are compared.
func (r *Report) Sides() []*Subject { return []*Subject{r.First(), r.Last()} }

// Owner is what the first page says.
func (r *Report) Owner() words.Owner {
	s := r.Last()
	if c := r.Compare; c != nil {
		o := words.OwnerCompared(c.Answer, c.Shifted, c.Differ, r.First().Verdict, s.Verdict)
		for _, p := range r.Others {
			if agenda.Fault(p.After.Verdict.Conclusion) {
				o.Next = append(o.Next, words.OtherFault(p.After.Session.Watching))
			}
		}
		return o
	}
	o := words.OwnerText(s.Verdict, s.by(), s.Forced != dossier.NotForced)
	if o.Tone == "doubt" {
		for _, c := range s.Told.Codes {
			if !c.ByTest {
				o.Known = append(o.Known, words.CodeKnown(c.Code, c.Meaning))
			}
		}
	}
	return o
}

// Vehicle is the car in the shop's words, else in the session's.
func (r *Report) Vehicle() string {
	if r.Shop.Vehicle != "" {
		return r.Shop.Vehicle
	}
	return r.Last().Session.Vehicle
}

// Vehicles are the cars of both sides, where they are named and differ.
func (r *Report) Vehicles() []string {
	if r.Compare == nil || !r.Compare.Differ {
		return nil
	}
	return []string{r.First().Session.Vehicle, r.Last().Session.Vehicle}
}

// Simulated reports that a subject is of no real car.
func (r *Report) Simulated() bool {
	return slices.ContainsFunc(r.Subjects, func(s *Subject) bool { return s.Session.Origin == "simulated" })
}

// ByTest lists the codes that the last test itself set.
func (r *Report) ByTest() (out []string) {
	for _, c := range r.Last().Told.Codes {
		if c.ByTest && !slices.Contains(out, c.Code) {
			out = append(out, c.Code)
		}
	}
	return out
}

// Method is how the report came about.
func (r *Report) Method() []string {
	byWire, byMixture := false, false
	for _, s := range r.Subjects {
		byWire, byMixture = byWire || s.by() == analysis.ByWire, byMixture || s.by() == analysis.ByMixture
	}
	return words.Method(byWire, byMixture)
}

// Limits of what any report shows.
func (r *Report) Limits() []string { return words.Limits }

// Before repeating this test.
func (r *Report) Cautions() []string { return words.Cautions(r.Last().by()) }

// Forced reports that there is a ring to show.
func (r *Report) Forced() bool {
	return r.Compare == nil || slices.ContainsFunc(r.Sides(), func(s *Subject) bool { return s.Verdict.Conclusion != analysis.NothingForced })
}

// compared are the subjects whose trims are drawn together: the two sides, or all.
func (r *Report) compared() []*Subject {
	if r.Compare != nil {
		return r.Sides()
	}
	return r.Subjects
}

// Diary is what was done in the visit, sessions included, in order of time.
func (r *Report) Diary() []store.VisitEntry {
	var out []store.VisitEntry
	for _, e := range r.Visit.Done {
		out = append(out, store.VisitEntry{At: e.At, Text: words.EntryText(e.Text)})
	}
	for _, s := range r.Subjects {
		out = append(out, store.VisitEntry{At: s.Session.Started,
			Text: fmt.Sprintf("session %s, %s: %s", s.Session.ID, words.TestedBy(s.Session.Watching, s.Session.By), words.ConclusionShort(string(s.Verdict.Conclusion)))})
	}
	slices.SortStableFunc(out, func(x, y store.VisitEntry) int { return x.At.Compare(y.At) })
	return out
}
