package report

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// Wanted says of what a report is made, how it looks and where it goes.
type Wanted struct {
	Sessions []string // one, or before and after; none with a visit
	Visit    string   // the name of one, all of whose sessions it is of
	File     string   // "": named after the sessions, or the visit
	Form     Form
	Paper    string // a4, letter; "": the printer's, and a PDF's is a4
	Shop     string // a file that names the shop; "": the usual one
	Head     Head
	VIN      bool   // printed too, where it was stored
	Program  string // version of this program
}

// Written is the JSON of a report that was written.
type Written struct {
	File    string   `json:"file"`
	SHA256  string   `json:"sha256"` // of the file
	Records []string `json:"records_sha256"`
}

// Make judges the sessions again, writes a report of them and says what it wrote.
func Make(ctx context.Context, db *store.Store, w Wanted) (out Written, err error) {
	r := &Report{Program: w.Program, Made: time.Now(), Paper: w.Paper}
	if w.Form == "pdf" {
		r.Paper = cmp.Or(w.Paper, "a4")
	}
	if w.Visit != "" {
		if err := w.ofVisit(ctx, db, r); err != nil {
			return out, err
		}
	}
	if r.Shop, err = ReadShop(w.Shop, w.Head); err != nil {
		return out, err
	}
	var dossiers []*dossier.Dossier
	for _, ref := range w.Sessions {
		m, d, err := replay.Dossier(ctx, db, ref, replay.Hashed(dossier.Setup{Traces: true, Trims: true}))
		if err != nil {
			return out, err
		}
		s := NewSubject(m, d)
		if m.Visit != nil && w.Visit == "" {
			s.Meter = words.MeterLines(m.Visit.Texts())
		}
		if w.VIN {
			s.VIN = m.VIN
		}
		dossiers, r.Subjects = append(dossiers, d), append(r.Subjects, s)
		out.Records = append(out.Records, fmt.Sprintf("%x", s.Hash))
	}
	before, after := 0, len(r.Subjects)-1
	if r.Visit != nil {
		before, after = sidesOf(r.Subjects)
		r.Visit.Open = openWork(&r.Visit.Visit, r.Subjects, dossiers)
		for i, s := range r.Subjects {
			s.Title = fmt.Sprintf("%d of %d", i+1, len(r.Subjects))
		}
	}
	r.Pair = [2]*Subject{r.Subjects[before], r.Subjects[after]}
	if before != after {
		r.Subjects[before].Title, r.Subjects[after].Title = "Before", "After"
		r.Compare = NewComparison(dossier.Compare(dossiers[before:before+1], dossiers[after:after+1]))
	}
	if r.Visit != nil {
		r.Others = pairOthers(r.Subjects, dossiers, r.Visit.Done, before, after)
	}
	out.File, out.SHA256, err = r.File(ctx, w.File, w.Form)
	return out, err
}

// ofVisit readies a report of all sessions of a visit, and its head.
func (w *Wanted) ofVisit(ctx context.Context, db *store.Store, r *Report) error {
	v, list, err := db.VisitSessions(ctx, w.Visit)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return advice.On(fmt.Errorf("reporting visit %q: no session belongs to it", v.Name), "`pushback test --visit NAME` makes one")
	}
	for _, m := range list {
		w.Sessions = append(w.Sessions, m.ID)
	}
	r.Visit = &Visit{Visit: v}
	w.Head.Vehicle, w.Head.Odometer, w.Head.Complaint = cmp.Or(w.Head.Vehicle, v.Vehicle), cmp.Or(w.Head.Odometer, v.Odometer), cmp.Or(w.Head.Complaint, v.Complaint)
	if w.File == "" {
		w.File = "pushback-visit-" + fileName(v.Name) + "." + string(w.Form)
	}
	return nil
}
