package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/words"
	"pushback/store"
)

func newSessions(a *app) *cobra.Command {
	var filter store.Filter
	var since string
	cmd := &cobra.Command{
		Use:   "sessions [TEXT]",
		Short: "List, search, label, note and remove stored sessions",
		Long: `Lists stored sessions, the newest first; with TEXT only those that have it in id,
label, vehicle or note. SESSION is an id, its first letters, or 'last'.`,
		Args: args(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				filter.Text = args[0]
			}
			if since != "" {
				t, err := time.ParseInLocation(time.DateOnly, since, time.Local)
				if err != nil {
					return usagef(cmd, "--since %q is not a day such as 2026-03-31", since)
				}
				filter.Since = t
			}
			return a.withStore(cmd, func(db *store.Store) error {
				list, err := db.List(cmd.Context(), filter)
				if err != nil {
					return err
				}
				return a.printSessions(list)
			})
		},
	}
	cmd.Flags().StringVar(&filter.Conclusion, "conclusion", "", "only with this `CONCLUSION`, such as loop_proven")
	cmd.Flags().StringVar(&filter.Origin, "origin", "", "only of this `ORIGIN`: live, import, simulated")
	cmd.Flags().StringVar(&since, "since", "", "only since this `DAY`, such as 2026-03-31")
	cmd.Flags().IntVar(&filter.Limit, "limit", 0, "at most `N`")
	cmd.AddCommand(
		a.editSession("label", "Label a session", func(m *store.Meta, text string) { m.Label = text }),
		a.editSession("note", "Write a note to a session", func(m *store.Meta, text string) { m.Note = text }),
		a.editSession("vehicle", "Name a session's vehicle", func(m *store.Meta, text string) { m.Vehicle = text }),
		a.removeSession(),
	)
	return cmd
}

// withStore opens the database for a command and closes it after.
func (a *app) withStore(cmd *cobra.Command, do func(*store.Store) error) error {
	db, err := store.Open(cmd.Context(), a.db)
	if err != nil {
		return err
	}
	return errors.Join(do(db), db.Close())
}

func (a *app) editSession(what, short string, set func(*store.Meta, string)) *cobra.Command {
	return &cobra.Command{
		Use:   what + " SESSION TEXT",
		Short: short,
		Args:  args(cobra.MinimumNArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				m, err := db.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if err := db.Edit(cmd.Context(), m.ID, func(m *store.Meta) { set(m, strings.Join(args[1:], " ")) }); err != nil {
					return err
				}
				if m, err = db.Find(cmd.Context(), m.ID); err != nil {
					return err
				}
				return a.printSessions([]store.Meta{m})
			})
		},
	}
}

func (a *app) removeSession() *cobra.Command {
	var yes bool
	cmd := &cobra.Command{
		Use:   "remove SESSION",
		Short: "Remove a session for good",
		Args:  named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				m, err := db.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if !yes {
					fmt.Fprintf(a.errOut, "remove session %s of %s (%s)? Type yes: ", m.ID, day(m.Started), described(m))
					answer, _ := bufio.NewReader(a.in).ReadString('\n')
					if strings.TrimSpace(answer) != "yes" {
						return hinted{fmt.Errorf("session %s is kept", m.ID), "answer yes, or give --yes", statusFailed}
					}
				}
				if err := db.Remove(cmd.Context(), m.ID); err != nil {
					return err
				}
				if a.json {
					return json.NewEncoder(a.out).Encode(map[string]string{"removed": m.ID})
				}
				_, err = fmt.Fprintf(a.out, "session %s is removed\n", m.ID)
				return err
			})
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask")
	return cmd
}

// sessionJSON is a stored session as other programs see it.
type sessionJSON struct {
	ID         string   `json:"id"`
	Started    string   `json:"started"` // RFC 3339 with offset
	DurationS  float64  `json:"duration_s"`
	Finished   bool     `json:"finished"`
	Origin     string   `json:"origin"`
	Bus        string   `json:"bus"`
	Adapter    string   `json:"adapter"`
	Sensors    []string `json:"sensors"`
	Watching   string   `json:"watching"`
	By         string   `json:"by"`
	Label      string   `json:"label"`
	Vehicle    string   `json:"vehicle"`
	Note       string   `json:"note"`
	Conclusion string   `json:"conclusion"`
	Version    string   `json:"version"`
}

func sessionOf(m store.Meta) sessionJSON {
	if m.Sensors == nil {
		m.Sensors = []string{}
	}
	return sessionJSON{
		ID: m.ID, Started: m.Started.Format(time.RFC3339), DurationS: float64(m.Duration.Milliseconds()) / 1000, Finished: m.Finished,
		Origin: m.Origin, Bus: m.Format.Bus.String(), Adapter: m.Adapter, Sensors: m.Sensors, Watching: m.Watching, By: m.By,
		Label: m.Label, Vehicle: m.Vehicle, Note: m.Note, Conclusion: m.Conclusion, Version: m.Version,
	}
}

func (a *app) printSessions(list []store.Meta) error {
	if a.json {
		all := []sessionJSON{}
		for _, m := range list {
			all = append(all, sessionOf(m))
		}
		return json.NewEncoder(a.out).Encode(all)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(a.out, "no sessions; `pushback demo` makes one without a car")
		return err
	}
	w := tabwriter.NewWriter(a.out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(w, "ID\tSTARTED\tVEHICLE\tLABEL\tBUS\tLENGTH\tSTATE\tCONCLUSION")
	for _, m := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", m.ID, day(m.Started), cell(m.Vehicle), cell(m.Label),
			busText(m), m.Duration.Round(time.Second), state(m), words.ConclusionShort(m.Conclusion))
	}
	return w.Flush()
}

func day(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

func busText(m store.Meta) string {
	if m.Origin == "import" {
		return "import"
	}
	return m.Format.Bus.String()
}

func state(m store.Meta) string {
	if m.Finished {
		return "finished"
	}
	return "unfinished"
}

// cell shortens a text to a table's cell.
func cell(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 24 {
		return string(r[:23]) + "…"
	}
	if s == "" {
		return "-"
	}
	return s
}

// described names a session in a sentence.
func described(m store.Meta) string {
	var parts []string
	for _, s := range []string{m.Vehicle, m.Label, m.Origin} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}
