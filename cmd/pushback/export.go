package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/views"
	"pushback/store"
	"pushback/store/transfer"
)

func newExport(a *app) *cobra.Command {
	var as = make(map[string]*bool)
	var all bool
	var keep kept
	var filter sessionFilter
	var about strings.Builder
	for _, f := range slices.Backward(intake.Formats) {
		if f.Write != nil {
			fmt.Fprintf(&about, "  --%-10s %s\n", f.Name, f.About)
		}
	}
	cmd := &cobra.Command{
		Use:   "export [SESSION] --csv|--parquet|… [FILE]",
		Short: "Write sessions as CSV, Parquet or a SQLite file",
		Long: `Writes a session, or with --all every session (those that the filters leave), to
FILE; without FILE, or with -, to standard output. 'import' reads each of the forms:

` + about.String() + `
What is personal is left out: the vehicle identification number unless --with-vin is
given, notes unless --with-notes is.`,
		Args: args(cobra.MaximumNArgs(2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.runExport(cmd, args, exportFlags{as, all, keep, filter})
		},
	}
	for _, f := range slices.Backward(intake.Formats) {
		if f.Write != nil {
			as[f.Name] = cmd.Flags().Bool(f.Name, false, f.About)
		}
	}
	cmd.Flags().BoolVar(&all, "all", false, "every session instead of one")
	cmd.Flags().BoolVar(&keep.notes, "with-notes", false, "write notes too")
	cmd.Flags().BoolVar(&keep.vin, "with-vin", false, "write the vehicle identification number too, where it was stored")
	filter.flags(cmd)
	return cmd
}

// exportFlags are those of an export.
type exportFlags struct {
	as     map[string]*bool // by the format's name
	all    bool
	keep   kept
	filter sessionFilter
}

func (a *app) runExport(cmd *cobra.Command, args []string, f exportFlags) error {
	format, err := chosen(cmd, f.as)
	if err != nil {
		return err
	}
	if f.all && format.Single {
		return usagef(cmd, "--%s holds one session; --all takes another form", format.Name)
	}
	if !f.all {
		if len(args) == 0 {
			return usagef(cmd, "SESSION is missing")
		}
		if f.filter.given(cmd) {
			return usagef(cmd, "the filters choose among --all")
		}
	}
	path := "-"
	switch rest := args[min(len(args), map[bool]int{true: 0, false: 1}[f.all]):]; len(rest) {
	case 0:
	case 1:
		path = rest[0]
	default:
		return usagef(cmd, "%q is one argument too many", rest[1])
	}
	if a.json && path == "-" {
		return usagef(cmd, "with --json the table needs a FILE to go to")
	}
	which, err := f.filter.filter(cmd)
	if err != nil {
		return err
	}
	return a.withStore(cmd, func(db *store.Store) error {
		var list []store.Meta
		if f.all {
			list, err = db.List(cmd.Context(), which)
		} else {
			list = make([]store.Meta, 1)
			list[0], err = db.Find(cmd.Context(), args[0])
		}
		if err == nil && len(list) == 0 {
			err = advice.On(errors.New("there are no such sessions"), "`pushback sessions` lists what is stored")
		}
		if err != nil {
			return err
		}
		return a.export(cmd.Context(), db, list, format, f.keep, path)
	})
}

// kept is what personal data an export holds.
type kept struct{ notes, vin bool }

// chosen is the one format that was asked for.
func chosen(cmd *cobra.Command, as map[string]*bool) (format transfer.Format, err error) {
	var names []string
	n := 0
	for _, f := range slices.Backward(intake.Formats) {
		if on := as[f.Name]; on != nil {
			names = append(names, "--"+f.Name)
			if *on {
				format = f
				n++
			}
		}
	}
	switch {
	case n == 0:
		return format, usagef(cmd, "say in what form: %s", strings.Join(names, ", "))
	case n > 1:
		return format, usagef(cmd, "one form at a time: %s", strings.Join(names, ", "))
	}
	return format, nil
}

func (a *app) export(ctx context.Context, db *store.Store, list []store.Meta, format transfer.Format, keep kept, path string) error {
	outgoing := func(m store.Meta) (transfer.Session, error) {
		return intake.Outgoing(ctx, db, m, views.NewProgress(a.errOut, "", m.Duration))
	}
	var sessions iter.Seq2[transfer.Session, error] = func(yield func(transfer.Session, error) bool) {
		for i := range list { // the oldest first, as they were made
			s, err := outgoing(list[len(list)-1-i])
			if !yield(transfer.Redact(s, keep.vin, keep.notes), err) {
				return
			}
		}
	}
	write := func(w io.Writer) error {
		if err := format.Write(ctx, w, sessions); err != nil {
			return fmt.Errorf("exporting %s: %w", sessionNames(list), err)
		}
		return nil
	}
	if path == "-" {
		return write(a.out)
	}
	if fi, err := os.Stat(path); err == nil && !fi.Mode().IsRegular() { // a pipe, /dev/null
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		return errors.Join(write(f), f.Close())
	}
	if err := transfer.ToFile(path, write); err != nil {
		return err
	}
	if a.json {
		if len(list) == 1 {
			return json.NewEncoder(a.out).Encode(map[string]string{"id": list[0].ID, "file": path})
		}
		ids := []string{}
		for _, m := range list {
			ids = append(ids, m.ID)
		}
		return json.NewEncoder(a.out).Encode(map[string]any{"ids": ids, "file": path})
	}
	fmt.Fprintf(a.errOut, "%s: %s\n", path, sessionNames(list))
	return nil
}

func sessionNames(list []store.Meta) string {
	if len(list) == 1 {
		return "session " + list[0].ID
	}
	return fmt.Sprintf("%d sessions", len(list))
}
