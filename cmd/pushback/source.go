package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"pushback/analysis/bias"
	"pushback/analysis/hazard"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words/why"
)

// sourceFlags describe a source and what it is joined to.
type sourceFlags struct {
	supply, supplyTol  float64
	target, resistance float64
	series             string
	tolerance          float64
	top, bottom        float64
	clipped            bool
	input              float64
	pullVolts          float64
	pullOhms           float64
	returnVolts        float64
	from               string
	all                bool
}

func newSource(a *app) *cobra.Command {
	var f sourceFlags
	cmd := &cobra.Command{
		Use:   "source",
		Short: "Design a safe bias source and ground for the signal wire",
		Long: `Computes a safe bias source: the divider from a dry cell (or a supply) out of
standard resistors, what the wire then gets with the sensor and the computer joined to
it, the worst case of all tolerances and of each clip slipping, and a drawing. Then the
lean side: how good the ground must be, and to what.

It refuses what could put more than 1.1 V on the wire, sound or with a clip slipped or
swapped, or push more than 5 mA into it. Should a soldered joint break, the wire gets what the cell
has, up to 1.65 V: more than that is refused too, and the output says why this is offered.
The car's battery and a person as the resistor are refused always; --from battery or
--from person says why.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.from == "battery" || f.from == "person" {
				return a.refuseSource(f.from)
			}
			d, err := f.design(cmd)
			if err != nil {
				return err
			}
			return a.runSource(d, f)
		},
	}
	fl := cmd.Flags()
	fl.StringVar(&f.from, "from", "cell", "`WHAT` feeds it: cell (one dry cell of 1.5 V), supply, battery, person")
	fl.Float64Var(&f.supply, "supply", 0, "a supply of `VOLTS` instead of the dry cell")
	fl.Float64Var(&f.supplyTol, "supply-tolerance", 5, "its tolerance in `PERCENT`")
	fl.Float64Var(&f.target, "target", 0.9, "wanted `VOLTS` on the wire")
	fl.Float64Var(&f.resistance, "resistance", 600, "wanted source resistance in `OHMS`")
	fl.StringVar(&f.series, "series", "E24", "resistor `SERIES`: E12, E24 or E96")
	fl.Float64Var(&f.tolerance, "tolerance", 0, "the resistors' tolerance in `PERCENT` (0: the series' usual)")
	fl.Float64Var(&f.top, "top", 0, "check this upper resistor of `OHMS` instead of choosing")
	fl.Float64Var(&f.bottom, "bottom", 0, "and this lower one of `OHMS`")
	fl.BoolVar(&f.clipped, "clipped", false, "the lower resistor is held by clips, not soldered")
	fl.Float64Var(&f.input, "input", 0, "the ECM's input resistance in `OHMS` (0: 1 to 10 MΩ)")
	fl.Float64Var(&f.pullVolts, "pull-volts", -1, "`VOLTS` that the computer pulls the open wire to (without it 0.40 to 0.55 V)")
	fl.Float64Var(&f.pullOhms, "pull-ohms", 0, "through `OHMS` (0: 0.34 to 4 MΩ)")
	fl.BoolVar(&f.all, "all", false, "print the tables too: with the sensor connected, each slip and failure, the ground's limits")
	fl.Float64Var(&f.returnVolts, "return-volts", 0, "`VOLTS` of the sensor return against the chassis, as measured")
	return cmd
}

// check says which of the flags can't be.
func (f sourceFlags) check(cmd *cobra.Command) error {
	given := cmd.Flags().Changed
	switch {
	case f.from != "cell" && f.from != "supply":
		return usagef(cmd, "--from %q is not cell, supply, battery or person", f.from)
	case f.from == "supply" && !given("supply"):
		return usagef(cmd, "--from supply needs --supply VOLTS")
	case given("supply") && !(f.supply > 0 && f.supply <= 1000):
		return usagef(cmd, "a supply of %v V is not possible", f.supply)
	case !(f.target > 0 && f.target < 100):
		return usagef(cmd, "a target of %v V is not possible", f.target)
	case !(f.tolerance >= 0 && f.tolerance < 50) || !(f.supplyTol >= 0 && f.supplyTol < 50):
		return usagef(cmd, "a tolerance is from 0 to 50 %%")
	case given("top") != given("bottom") || given("top") && !(f.top > 0 && f.bottom > 0):
		return usagef(cmd, "--top and --bottom come together, in ohms above 0")
	case f.input < 0 || f.pullOhms < 0 || !(math.Abs(f.returnVolts) < 100) || !(f.pullVolts < 100):
		return usagef(cmd, "the ECM's input or return is not possible")
	}
	return nil
}

// design is the source that the flags ask for.
func (f sourceFlags) design(cmd *cobra.Command) (d bias.Design, err error) {
	if err := f.check(cmd); err != nil {
		return d, err
	}
	given := cmd.Flags().Changed
	series, err := bias.ParseSeries(f.series)
	if err != nil {
		return d, usage(cmd, err)
	}
	tolerance := series.Tolerance
	if given("tolerance") {
		tolerance = f.tolerance / 100
	}
	supply := bias.DryCell
	if given("supply") {
		supply = bias.Bench(f.supply, f.supplyTol/100)
	}
	computer := bias.UsualComputer
	if f.input > 0 {
		computer.Input = bias.Exactly(f.input)
	}
	if f.pullVolts >= 0 {
		computer.PullVolts = bias.Exactly(f.pullVolts)
	}
	if f.pullOhms > 0 {
		computer.PullOhms = bias.Exactly(f.pullOhms)
	}
	if given("top") {
		d = bias.Design{Supply: supply, Target: f.target, Series: series, Tolerance: tolerance, Top: f.top, Bottom: f.bottom, Computer: computer}
	} else if d, err = bias.Find(supply, f.target, f.resistance, series, tolerance, computer); err != nil {
		return d, advice.On(err, "lower --target, or change --resistance or --series")
	}
	d.Clipped = f.clipped
	return d, nil
}

func (a *app) runSource(d bias.Design, f sourceFlags) error {
	refusals := why.Texts(d.Refusals())
	if a.json {
		if err := json.NewEncoder(a.out).Encode(sheet.SourceOf(d, f.returnVolts, refusals)); err != nil {
			return err
		}
	} else if len(refusals) == 0 {
		sheet.WriteSource(a.out, d, f.returnVolts, f.all)
	}
	if len(refusals) > 0 {
		hint := "one dry cell of 1.5 V and two soldered resistors do it: `pushback source`"
		if d.Supply.Volts.Hi >= bias.Battery {
			hint += "; `pushback source --from battery` says more"
		}
		return advice.On(fmt.Errorf("refuse this source (%s over %s from %.3g V): %s: %w", bias.Ohms(d.Top), bias.Ohms(d.Bottom),
			d.Supply.Volts.Nom, strings.Join(refusals, "; "), bias.ErrUnsafe), hint)
	}
	return nil
}

// refuseSource explains what is never done.
func (a *app) refuseSource(what string) error {
	if a.json {
		if err := json.NewEncoder(a.out).Encode(map[string]any{"safe": false, "refused": []string{what + " is never a bias source"}}); err != nil {
			return err
		}
	}
	sheet.WriteRefused(a.people(), what)
	return advice.On(fmt.Errorf("refuse a %s as the source: %w", what, bias.ErrUnsafe),
		hazard.Step("one dry cell of 1.5 V and two soldered resistors do it: `pushback source`; or move the mixture, with propane or a vacuum hose", hazard.Propane, hazard.Hose))
}
