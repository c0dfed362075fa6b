package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/report"
	"pushback/store"
)

// reportFlags say how a report looks and where it goes.
type reportFlags struct {
	out, paper string
	pdf        bool
	svg, png   string // a figure's name
	vin        bool
	config     string
	head       report.Head
	visit      string // its name; "" none
}

// wanted is a report of sessions by the flags.
func (f *reportFlags) wanted(sessions []string) report.Wanted {
	return report.Wanted{Sessions: sessions, Visit: f.visit, File: f.out, Form: f.form(), Paper: f.paper,
		Shop: f.config, Head: f.head, VIN: f.vin, Program: versionText()}
}

func newReport(a *app) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report SESSION [AFTER]",
		Short: "Report for the customer: one HTML file, or a PDF",
		Long: `Writes a report of a session, or of two, before and after a repair: the first page for
the car's owner, the others for a technician. The file holds all it needs, opens without a
network and prints on A4 and Letter. The records are judged again for it.
With --visit NAME in place of sessions it is of all sessions of a visit, before and after
the repair, with what was done and what is still open.

The head of the first page comes from flags or from a file (--shop, else shop.json in
the folder pushback of your configuration folder, where there is one):

  {"name": "…", "technician": "…", "logo": "logo.png"}

A logo is PNG or JPEG, at most 256 kB. The vehicle identification number is left out
unless --with-vin asks for it (and it was stored).

--svg and --png write a single figure: ring, traces, lean or rich (the force of that side
from close by), trims (total trim against air flow). --pdf and --png need Chromium.`,
		Args: args(cobra.RangeArgs(0, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(cmd, len(args)); err != nil {
				return err
			}
			for _, ref := range args[max(0, len(args)-1):] {
				if f.out == "" && strings.ContainsAny(ref, "./") {
					return usagef(cmd, "%q is read as a session; the file to write is named by --out %[1]s", ref)
				}
			}
			return a.withStore(cmd, func(db *store.Store) error {
				return a.runReport(cmd.Context(), db, f.wanted(args))
			})
		},
	}
	g := cmd.Flags()
	g.StringVar(&f.out, "out", "", "`FILE` to write (default: pushback-ID.html, .pdf, .svg or .png)")
	g.BoolVar(&f.pdf, "pdf", false, "write a PDF instead of HTML")
	g.StringVar(&f.paper, "paper", "", "`SIZE`: a4 or letter (default: the printer's; a PDF's is a4)")
	g.StringVar(&f.svg, "svg", "", "write one `FIGURE` as SVG: ring, traces, lean, rich, trims")
	g.StringVar(&f.png, "png", "", "write one `FIGURE` as PNG")
	g.StringVar(&f.config, "shop", "", "`FILE` that names the shop")
	g.StringVar(&f.head.Name, "shop-name", "", "the shop's `NAME`")
	g.StringVar(&f.head.Logo, "logo", "", "`FILE` with the shop's logo")
	g.StringVar(&f.head.Technician, "technician", "", "`NAME` of the technician")
	g.StringVar(&f.head.Vehicle, "vehicle", "", "vehicle as it is to be printed, `TEXT` (default: the session's)")
	g.StringVar(&f.head.Odometer, "odometer", "", "the odometer's `READING` with its unit")
	g.StringVar(&f.head.Complaint, "complaint", "", "customer's complaint, `TEXT`")
	g.StringVar(&f.visit, "visit", "", "of all sessions of the visit of this `NAME`, or 'last'")
	g.BoolVar(&f.vin, "with-vin", false, "print the vehicle identification number too, where it was stored")
	return cmd
}

func (f *reportFlags) check(cmd *cobra.Command, sessions int) error {
	n := 0
	for _, on := range []bool{f.pdf, f.svg != "", f.png != ""} {
		if on {
			n++
		}
	}
	figure := f.svg + f.png
	switch {
	case f.visit == "" && sessions == 0:
		return usagef(cmd, "SESSION is missing")
	case f.visit != "" && sessions > 0:
		return usagef(cmd, "--visit takes all sessions of the visit: name no other")
	case f.visit != "" && figure != "":
		return usagef(cmd, "a single figure is of one session")
	case n > 1:
		return usagef(cmd, "one of --pdf, --svg and --png at a time")
	case figure != "" && !slices.Contains(report.Figures, figure):
		return usagef(cmd, "there is no figure %q; there are %s", figure, strings.Join(report.Figures, ", "))
	case figure != "" && sessions > 1:
		return usagef(cmd, "a single figure is of one session")
	case !slices.Contains([]string{"", "a4", "letter"}, f.paper):
		return usagef(cmd, "paper %q is not a4 or letter", f.paper)
	}
	return nil
}

// form is what the report is written as.
func (f *reportFlags) form() report.Form {
	switch {
	case f.pdf:
		return "pdf"
	case f.svg != "":
		return report.Form(f.svg + ".svg")
	case f.png != "":
		return report.Form(f.png + ".png")
	}
	return "html"
}

func (a *app) runReport(ctx context.Context, db *store.Store, w report.Wanted) error {
	written, err := report.Make(ctx, db, w)
	if err != nil {
		return err
	}
	return a.print(written, func() error {
		_, err := fmt.Fprintf(a.out, "report %s\n", written.File)
		return err
	})
}
