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
	var filter sessionFilter
	cmd := &cobra.Command{
		Use:   "sessions [TEXT]",
		Short: "List, search, label, note, pair and remove stored sessions",
		Long: `Lists stored sessions, the newest first; with TEXT only those that have it in id,
label, vehicle or note. SESSION is an id, its first letters, or 'last'.`,
		Args: args(cobra.MaximumNArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := filter.filter(cmd)
			if err != nil {
				return err
			}
			if len(args) == 1 {
				f.Text = args[0]
			}
			return a.withStore(cmd, func(db *store.Store) error {
				list, err := db.List(cmd.Context(), f)
				if err != nil {
					return err
				}
				return a.printSessions(list)
			})
		},
	}
	filter.flags(cmd)
	cmd.AddCommand(
		a.editSession("label", "Label a session", func(m *store.Meta, text string) { m.Label = text }),
		a.editSession("note", "Write a note to a session", func(m *store.Meta, text string) { m.Note = text }),
		a.editSession("vehicle", "Name a session's vehicle", func(m *store.Meta, text string) { m.Vehicle = text }),
		a.pairSessions(),
		a.unpairSession(),
		a.removeSession(),
	)
	return cmd
}

func (a *app) pairSessions() *cobra.Command {
	return &cobra.Command{
		Use:   "pair BEFORE AFTER",
		Short: "Note that two sessions are of the same car before and after a repair",
		Args:  named("BEFORE", "AFTER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				if err := db.Pair(cmd.Context(), args[0], args[1]); err != nil {
					return err
				}
				return a.printFound(cmd, db, args...)
			})
		},
	}
}

func (a *app) unpairSession() *cobra.Command {
	return &cobra.Command{
		Use:   "unpair SESSION",
		Short: "Forget the pairs that a session is in",
		Args:  named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				if err := db.Unpair(cmd.Context(), args[0]); err != nil {
					return err
				}
				return a.printFound(cmd, db, args[0])
			})
		},
	}
}

// printFound lists the sessions that refs mean, as they are now.
func (a *app) printFound(cmd *cobra.Command, db *store.Store, refs ...string) error {
	var list []store.Meta
	for _, ref := range refs {
		m, err := db.Find(cmd.Context(), ref)
		if err != nil {
			return err
		}
		list = append(list, m)
	}
	return a.printSessions(list)
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
				return a.printFound(cmd, db, m.ID)
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
					fmt.Fprintf(a.errOut, "remove session %s of %s (%s)? Type yes: ", m.ID, day(m.Started), words.Printable(described(m)))
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
	Before     string   `json:"before,omitempty"` // the paired session
	After      string   `json:"after,omitempty"`
}

func sessionOf(m store.Meta) sessionJSON {
	if m.Sensors == nil {
		m.Sensors = []string{}
	}
	return sessionJSON{
		ID: m.ID, Started: m.Started.Format(time.RFC3339), DurationS: float64(m.Duration.Milliseconds()) / 1000, Finished: m.Finished,
		Origin: m.Origin, Bus: m.Format.Bus.String(), Adapter: m.Adapter, Sensors: m.Sensors, Watching: m.Watching, By: m.By,
		Label: m.Label, Vehicle: m.Vehicle, Note: m.Note, Conclusion: m.Conclusion, Version: m.Version,
		Before: m.Before, After: m.After,
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
	fmt.Fprintln(w, "ID\tSTARTED\tVEHICLE\tLABEL\tBUS\tLENGTH\tSTATE\tCONCLUSION\tPAIR")
	for _, m := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", m.ID, day(m.Started), cell(m.Vehicle), cell(m.Label),
			busText(m), m.Duration.Round(time.Second), state(m), words.ConclusionShort(m.Conclusion), paired(m))
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

// paired names the other session of a pair.
func paired(m store.Meta) string {
	switch {
	case m.Before != "":
		return "after " + m.Before
	case m.After != "":
		return "before " + m.After
	}
	return "-"
}

func state(m store.Meta) string {
	if m.Finished {
		return "finished"
	}
	return "unfinished"
}

// cell shortens a text to a table's cell.
func cell(s string) string {
	s = words.Printable(s)
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
