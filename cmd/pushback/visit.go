package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/agenda"
	"pushback/analysis/dossier"
	"pushback/analysis/meter"
	"pushback/cmd/internal/replay"
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
				return a.print(sheet.VisitsOf(list), func() error { return sheet.WriteVisits(a.out, list) })
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
	var meters []string
	cmd := &cobra.Command{
		Use:   "note NAME [TEXT]",
		Short: "Write down what was done or measured, with the time",
		Long: `Writes down what was done, with the time. --meter KIND=VALUE, once a reading, writes down what a
meter showed; the visit and its report say what is usual, by what source, and what to do otherwise:
  return     sensor return to battery minus, V, engine running
  heater     the sensor heater's resistance, ohm, cold and unplugged (key off)
  pressure   fuel pressure at idle, port injection: kPa, or 40psi, 2.8bar
  supply     battery voltage at the feed, V, engine running
Take readings by the maker's procedure; fuel sprays and burns, and exhaust, fans and belts hurt.`,
		Args: args(cobra.MinimumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			var entries []string
			if text := strings.Join(args[1:], " "); text != "" {
				entries = append(entries, text)
			}
			for _, text := range meters {
				r, err := meter.Parse(text)
				if err != nil {
					return usagef(cmd, "--meter: %w", err)
				}
				entries = append(entries, r.Entry())
			}
			if len(entries) == 0 {
				return usagef(cmd, "TEXT is missing, or --meter KIND=VALUE")
			}
			return a.withStore(cmd, func(db *store.Store) error {
				name, err := noteVisit(cmd.Context(), db, args[0], entries...)
				if err != nil {
					return err
				}
				return a.printVisit(cmd.Context(), db, name)
			})
		},
	}
	cmd.Flags().StringArrayVar(&meters, "meter", nil, "a meter's reading, `KIND=VALUE`: return, heater, pressure or supply; may be repeated")
	return cmd
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
func noteVisit(ctx context.Context, db *store.Store, name string, texts ...string) (string, error) {
	err := db.EditVisit(ctx, name, func(v *store.Visit) {
		name = v.Name
		for _, text := range texts {
			v.Done = append(v.Done, store.VisitEntry{At: time.Now(), Text: words.Clean(text)})
		}
	})
	return name, err
}

// printVisit prints a visit as it is now, with what is open.
func (a *app) printVisit(ctx context.Context, db *store.Store, name string) error {
	v, list, err := db.VisitSessions(ctx, name)
	if err != nil {
		return err
	}
	var seen []agenda.Session
	for _, m := range list {
		_, d, err := replay.Dossier(ctx, db, m.ID, dossier.Setup{Trims: true})
		if err != nil {
			return err
		}
		seen = append(seen, d.Agenda(m.Sensors)...)
	}
	s := sheet.NewVisit(v, list, agenda.Open(seen, agenda.Has(v.Texts())))
	return a.print(s, func() error { return s.Write(a.out) })
}
