package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/agenda"
	"pushback/analysis/dossier"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/report"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
	"pushback/store"
)

const visitUsage = "put it into the visit of this `NAME`, or 'last'"

func newVisit(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "visit",
		Short: "One car's visit to the shop: its sessions, what was done, what is open",
		Long: `A visit holds a car's sessions together, from the complaint to the car handed back.
NAME is what you call it, or 'last' for the one opened last. 'vehicle', 'test', 'record'
and 'import' put what they find into it with --visit NAME; 'report --visit NAME' is one
report of all.`,
		Args: noSuchCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(a.visitNew(), a.visitList(), a.visitShow(), a.visitNote(), a.visitClose())
	return cmd
}

func (a *app) visitNew() *cobra.Command {
	var v store.Visit
	cmd := &cobra.Command{
		Use:   "new NAME",
		Short: "Open a visit",
		Args:  named("NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			v.Name, v.Opened = args[0], time.Now()
			v.Each(words.Clean)
			return a.withStore(cmd, func(db *store.Store) error {
				if err := db.NewVisit(cmd.Context(), v); err != nil {
					return err
				}
				return a.printVisit(cmd.Context(), db, v.Name)
			})
		},
	}
	cmd.Flags().StringVar(&v.Vehicle, "vehicle", "", "`NAME` of the vehicle")
	cmd.Flags().StringVar(&v.Complaint, "complaint", "", "what the customer states, `TEXT`")
	cmd.Flags().StringVar(&v.Odometer, "odometer", "", "the odometer's `READING` with its unit")
	cmd.Flags().StringVar(&v.Order, "order", "", "plate or order number, `TEXT`")
	return cmd
}

func (a *app) visitList() *cobra.Command {
	var f store.VisitFilter
	cmd := &cobra.Command{
		Use:   "list [TEXT]",
		Short: "List visits, the one opened last first",
		Long:  "Lists visits; with TEXT only those that have it in name, vehicle, complaint or order.",
		Args:  args(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.Limit < 0 {
				return usagef(cmd, "--limit %d is less than no visit", f.Limit)
			}
			f.Text = strings.Join(args, "")
			return a.withStore(cmd, func(db *store.Store) error {
				list, err := db.Visits(cmd.Context(), f)
				if err != nil {
					return err
				}
				if a.json {
					return json.NewEncoder(a.out).Encode(some(list))
				}
				return sheet.WriteVisits(a.out, list)
			})
		},
	}
	cmd.Flags().BoolVar(&f.Open, "open", false, "only those that are not closed")
	cmd.Flags().IntVar(&f.Limit, "limit", 0, "at most `N`, the newest")
	return cmd
}

func (a *app) visitShow() *cobra.Command {
	return &cobra.Command{
		Use:   "show NAME",
		Short: "A visit: its sessions, what was done, what is still open and how long it takes",
		Args:  named("NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error { return a.printVisit(cmd.Context(), db, args[0]) })
		},
	}
}

func (a *app) visitNote() *cobra.Command {
	return &cobra.Command{
		Use:   "note NAME TEXT",
		Short: "Write down what was done, with the time",
		Args:  args(cobra.MinimumNArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				name, err := noteVisit(cmd.Context(), db, args[0], strings.Join(args[1:], " "))
				if err != nil {
					return err
				}
				return a.printVisit(cmd.Context(), db, name)
			})
		},
	}
}

func (a *app) visitClose() *cobra.Command {
	return &cobra.Command{
		Use:   "close NAME",
		Short: "Close a visit: the car is handed back",
		Long:  "Closes a visit. What was still open is shown, and does not keep it from being closed.",
		Args:  named("NAME"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				name := args[0]
				err := db.EditVisit(cmd.Context(), name, func(v *store.Visit) {
					name = v.Name
					if v.Closed.IsZero() { // the first time counts
						v.Closed = time.Now()
					}
				})
				if err != nil {
					return err
				}
				return a.printVisit(cmd.Context(), db, name)
			})
		},
	}
}

// noteVisit writes down what was done now, and returns the visit's name.
func noteVisit(ctx context.Context, db *store.Store, name, text string) (string, error) {
	err := db.EditVisit(ctx, name, func(v *store.Visit) {
		name = v.Name
		v.Done = append(v.Done, store.VisitEntry{At: time.Now(), Text: words.Clean(text)})
	})
	return name, err
}

func (a *app) printVisit(ctx context.Context, db *store.Store, name string) error {
	v, list, err := visitSessions(ctx, db, name)
	if err != nil {
		return err
	}
	var seen []agenda.Session
	for _, m := range list {
		_, d, err := dossierOf(ctx, db, m.ID, dossier.Setup{Trims: true})
		if err != nil {
			return err
		}
		seen = append(seen, agendaOf(m, d))
	}
	s := sheet.NewVisit(v, list, agenda.Open(seen))
	if a.json {
		return json.NewEncoder(a.out).Encode(s)
	}
	return s.Write(a.out)
}

// visitSessions finds a visit and its sessions, in order of time.
func visitSessions(ctx context.Context, db *store.Store, name string) (store.Visit, []store.Meta, error) {
	v, err := db.Visit(ctx, name)
	if err != nil {
		return v, nil, err
	}
	list, err := db.List(ctx, store.Filter{Visit: v.Name})
	slices.SortStableFunc(list, func(x, y store.Meta) int { return x.Started.Compare(y.Started) })
	return v, list, err
}

// agendaOf is what a session has shown, for what is open.
func agendaOf(m store.Meta, d *dossier.Dossier) agenda.Session {
	trims := d.Trims(0)
	return agenda.Session{Sensor: m.Watching, By: analysis.By(m.By), Verdict: d.Verdict, Map: trims.Next == "" && len(trims.Banks) > 0}
}

// visitReport readies a report of a visit and its head, and returns the visit's sessions.
func visitReport(ctx context.Context, db *store.Store, r *report.Report, f *reportFlags) (refs []string, err error) {
	v, list, err := visitSessions(ctx, db, f.visit)
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, advice.On(fmt.Errorf("reporting visit %q: no session belongs to it", v.Name), "`pushback test --visit NAME` makes one")
	}
	for _, m := range list {
		refs = append(refs, m.ID)
	}
	r.Visit = &report.Visit{Visit: v}
	h := &f.head
	h.Vehicle, h.Odometer, h.Complaint = cmp.Or(h.Vehicle, v.Vehicle), cmp.Or(h.Odometer, v.Odometer), cmp.Or(h.Complaint, v.Complaint)
	if f.out == "" {
		f.out = "pushback-visit-" + fileName(v.Name) + "." + string(f.form())
	}
	return refs, nil
}

// fileName keeps of a visit's name what any system lets a file be called by.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, name)
}

// sidesOf chooses the sessions before and after the repair, of those in order of time: the last
// that were paired, else the first and the last that tested a sensor as the last test did. The
// same twice: there is nothing to compare.
func sidesOf(all []*report.Subject) (before, after int) {
	for i := range all {
		for j := range all[:i] {
			if all[i].Session.Before == all[j].Session.ID {
				before, after = j, i
			}
		}
	}
	if before != after {
		return before, after
	}
	for i, s := range all {
		if s.Verdict.Conclusion != analysis.NothingForced {
			after = i
		}
	}
	last := all[after]
	before = slices.IndexFunc(all, func(s *report.Subject) bool {
		return s.Session.Watching == last.Session.Watching && s.Session.By == last.Session.By &&
			(s.Verdict.Conclusion == analysis.NothingForced) == (last.Verdict.Conclusion == analysis.NothingForced)
	})
	return before, after
}

// openWork words what is open after sessions.
func openWork(all []*report.Subject, dossiers []*dossier.Dossier) (out []string) {
	var seen []agenda.Session
	for i, s := range all {
		seen = append(seen, agendaOf(s.Session, dossiers[i]))
	}
	for _, item := range agenda.Open(seen) {
		out = append(out, words.OpenWork(item))
	}
	return out
}
