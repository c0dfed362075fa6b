package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"pushback/cmd/internal/completion"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// app is what all commands share.
type app struct {
	in          io.Reader
	out, errOut io.Writer

	db    string
	json  bool
	level string
	units string
	log   zerolog.Logger
}

// people is where text for people goes: standard output, or standard error when
// that is taken by JSON.
func (a *app) people() io.Writer {
	if a.json {
		return a.errOut
	}
	return a.out
}

// print prints a result: as JSON where that was asked for, else as text does.
func (a *app) print(result any, text func() error) error {
	if a.json {
		return json.NewEncoder(a.out).Encode(result)
	}
	return text()
}

func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "pushback",
		Short: "Does the fuel loop push back when an oxygen sensor is biased?",
		Long: `Drive an oxygen sensor's signal wire lean, then rich, and release it. pushback reads
the car through an OBD-II adapter and judges, arc by arc, whether the ECM reads the
wire, whether its short-term fuel trim responds, whether the mixture changes, and
whether the sensor reads it on release.

Try it without a car:  pushback demo`,
		SilenceErrors:              true,
		SuggestionsMinimumDistance: 2,
		SilenceUsage:               true,
		Args:                       noSuchCommand,
		RunE:                       func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		PersistentPreRunE:          func(*cobra.Command, []string) error { return a.setUp() },
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return usage(cmd, err) })
	f := root.PersistentFlags()
	f.StringVar(&a.db, "db", "", "database `FILE` (default: pushback/pushback.db in your data folder)")
	f.BoolVar(&a.json, "json", false, "print JSON, and nothing else, on standard output")
	f.StringVar(&a.units, "units", os.Getenv("PUSHBACK_UNITS"), "`UNITS` that people read: us or si (default: PUSHBACK_UNITS, else what pushback units keeps)")
	f.StringVar(&a.level, "log", "warn", "log `LEVEL` on standard error: debug, info, warn, error")

	root.AddCommand(
		newDemo(a), newTest(a), newRecord(a), newPorts(a), newVehicle(a),
		newSessions(a), newShow(a), newReplay(a), newJudge(a), newImport(a), newExport(a),
		newSimulate(a), newSource(a), newTrims(a), newCompare(a), newReport(a), newClear(a), newVisit(a), newUnits(a), newMan(), newVersion(a),
	)
	completion.Sessions(root, &a.db)
	return root
}

func (a *app) setUp() error {
	level, err := zerolog.ParseLevel(a.level)
	if err != nil || a.level == "" {
		return usageError{fmt.Errorf("log level %q is not one of debug, info, warn, error", a.level), "pushback --help"}
	}
	w := zerolog.ConsoleWriter{Out: a.errOut, NoColor: !term.StyleOf(a.errOut).Color, TimeFormat: "15:04:05"}
	a.log = zerolog.New(w).Level(level).With().Timestamp().Logger()
	if a.db == "" {
		if a.db, err = store.DefaultPath(); err != nil {
			return err
		}
	}
	if a.units == "" && words.Use(keptUnits(a.db)) == nil {
		return nil
	}
	if err := words.Use(a.units); err != nil {
		return usageError{err, "pushback --help"}
	}
	return nil
}

// usageError is a wrong command line: status 2.
type usageError struct {
	err  error
	help string // the command that explains
}

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

func usage(cmd *cobra.Command, err error) error {
	return usageError{err, cmd.CommandPath() + " --help"}
}

func usagef(cmd *cobra.Command, format string, args ...any) error {
	return usage(cmd, fmt.Errorf(format, args...))
}

// args makes an argument check's error a usage error.
func args(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usage(cmd, err)
		}
		return nil
	}
}

// named checks for exactly these arguments, and says which one is missing.
func named(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < len(names) {
			return usagef(cmd, "%s is missing", names[len(args)])
		}
		if len(args) > len(names) {
			extra, hint := args[len(names)], ""
			if f := cmd.Flag("page"); f != nil && f.Changed {
				hint = "; an address for the page is written --page=" + extra
			}
			return usagef(cmd, "%q is one argument too many%s", extra, hint)
		}
		return nil
	}
}

func noSuchCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	text := fmt.Sprintf("there is no command %q", args[0])
	if s := cmd.SuggestionsFor(args[0]); len(s) > 0 {
		text += "; is it " + strings.Join(s, " or ") + "?"
	}
	return usage(cmd, errors.New(text))
}
