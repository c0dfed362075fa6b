package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/sheet"
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
		Short: "Mark two sessions as the same car before and after a repair",
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
		Short: "Remove a session's before/after pair",
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

// openStore opens the database, and says what it had to rescue.
func (a *app) openStore(ctx context.Context) (*store.Store, error) { return a.openBy(ctx, store.Open) }

func (a *app) openBy(ctx context.Context, open func(context.Context, string) (*store.Store, error)) (*store.Store, error) {
	db, err := open(ctx, a.db)
	if err != nil {
		return nil, err
	}
	for _, path := range db.Rescued() {
		fmt.Fprintf(a.errOut, "warning: another file was put in the place of the database while a session was recorded into it; that session is in %s\n"+
			"  what to do: `pushback import` takes it in\n", path)
	}
	return db, nil
}

// withStore opens the database for a command and closes it after. One that cannot be written
// can be read.
func (a *app) withStore(cmd *cobra.Command, do func(*store.Store) error) error {
	db, err := a.openBy(cmd.Context(), store.OpenToRead)
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
		Short: "Delete a session permanently",
		Args:  named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.withStore(cmd, func(db *store.Store) error {
				m, err := db.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if !yes {
					fmt.Fprintf(a.errOut, "remove session %s of %s (%s)? Type yes: ", m.ID, sheet.Day(m.Started), words.Printable(sheet.Described(m)))
					if !a.saysYes(a.errOut) {
						return advice.On(fmt.Errorf("session %s is kept", m.ID), "answer yes, or give --yes")
					}
				}
				if err := db.Remove(cmd.Context(), m.ID); err != nil {
					return err
				}
				return a.print(map[string]string{"removed": m.ID}, func() error {
					_, err := fmt.Fprintf(a.out, "session %s is removed\n", m.ID)
					return err
				})
			})
		},
	}
	cmd.Flags().BoolVar(&yes, "yes", false, "don't ask for confirmation")
	return cmd
}

func (a *app) printSessions(list []store.Meta) error {
	return a.print(sheet.SessionsOf(list), func() error { return sheet.WriteSessions(a.out, list) })
}
