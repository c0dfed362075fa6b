package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/term"
	"pushback/store"
	"pushback/store/transfer"
)

func newExport(a *app) *cobra.Command {
	f := exportFlags{as: make(map[string]*bool)}
	var about strings.Builder
	for _, x := range slices.Backward(intake.Formats) {
		if x.Write != nil {
			fmt.Fprintf(&about, "  --%-10s %s\n", x.Name, x.About)
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
			o, err := f.options(cmd, args, a.json)
			if err != nil {
				return err
			}
			return a.withStore(cmd, func(db *store.Store) error { return a.runExport(cmd.Context(), db, o) })
		},
	}
	for _, x := range slices.Backward(intake.Formats) {
		if x.Write != nil {
			f.as[x.Name] = cmd.Flags().Bool(x.Name, false, x.About)
		}
	}
	cmd.Flags().BoolVar(&f.all, "all", false, "every session instead of one")
	cmd.Flags().BoolVar(&f.notes, "with-notes", false, "write notes too")
	cmd.Flags().BoolVar(&f.vin, "with-vin", false, "write the vehicle identification number too, where it was stored")
	f.filter.flags(cmd)
	return cmd
}

// exportFlags are those of an export.
type exportFlags struct {
	as         map[string]*bool // by the format's name
	all        bool
	vin, notes bool // what is personal is written too
	filter     sessionFilter
}

// exportOptions say what is written and where to.
type exportOptions struct {
	format     transfer.Format
	all        bool
	which      store.Filter // of all
	session    string       // otherwise
	path       string       // "-": standard output
	vin, notes bool
}

// options are what flags and arguments ask for.
func (f exportFlags) options(cmd *cobra.Command, args []string, json bool) (o exportOptions, err error) {
	format, err := chosen(cmd, f.as)
	if err != nil {
		return o, err
	}
	o = exportOptions{format: format, all: f.all, path: "-", vin: f.vin, notes: f.notes}
	if f.all && format.Single {
		return o, usagef(cmd, "--%s holds one session; --all takes another form", format.Name)
	}
	if !f.all {
		if len(args) == 0 {
			return o, usagef(cmd, "SESSION is missing")
		}
		if f.filter.given(cmd) {
			return o, usagef(cmd, "the filters choose among --all")
		}
		o.session, args = args[0], args[1:]
	}
	switch len(args) {
	case 0:
	case 1:
		o.path = args[0]
	default:
		return o, usagef(cmd, "%q is one argument too many", args[1])
	}
	if json && o.path == "-" {
		return o, usagef(cmd, "with --json the table needs a FILE to go to")
	}
	o.which, err = f.filter.filter(cmd)
	return o, err
}

func (a *app) runExport(ctx context.Context, db *store.Store, o exportOptions) error {
	var list []store.Meta
	var visits []store.Visit
	var err error
	if o.all {
		list, visits, err = allOf(ctx, db, o.which)
	} else {
		list = make([]store.Meta, 1)
		list[0], err = db.Find(ctx, o.session)
	}
	if err == nil && len(list)+len(visits) == 0 {
		err = advice.On(errors.New("there are no such sessions"), "`pushback sessions` lists what is stored")
	}
	if err != nil {
		return err
	}
	bar := func(length time.Duration) session.Sink { return a.progress("", length) }
	return a.export(ctx, db, intake.Export{Format: o.format, Sessions: list, Visits: visits, VIN: o.vin, Notes: o.notes, Bar: bar}, o.path)
}

// allOf returns the sessions that the filter leaves, and the visits that have none: all, or the one that it names.
func allOf(ctx context.Context, db *store.Store, which store.Filter) (list []store.Meta, visits []store.Visit, err error) {
	if list, err = db.List(ctx, which); err != nil {
		return nil, nil, err
	}
	switch named := which.Visit; {
	case which == (store.Filter{}):
		visits, err = db.VisitsBeside(ctx, list)
	case which == store.Filter{Visit: named} && len(list) == 0:
		visits = make([]store.Visit, 1)
		visits[0], err = db.Visit(ctx, named)
	}
	return list, visits, err
}

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

func (a *app) export(ctx context.Context, db *store.Store, x intake.Export, path string) error {
	if path == "-" {
		return x.Write(ctx, db, term.Safe(a.out))
	}
	if err := x.File(ctx, db, path); err != nil {
		return err
	}
	ids := make([]string, len(x.Sessions))
	for i, m := range x.Sessions {
		ids[i] = m.ID
	}
	out := map[string]any{"ids": ids, "file": path}
	if len(ids) == 1 {
		out = map[string]any{"id": ids[0], "file": path}
	}
	return a.print(out, func() error {
		fmt.Fprintf(a.errOut, "%s: %s\n", path, x)
		return nil
	})
}
