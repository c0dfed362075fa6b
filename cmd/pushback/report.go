package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/dossier"
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
				w, err := writeReport(cmd.Context(), db, args, f)
				if err != nil {
					return err
				}
				if a.json {
					return json.NewEncoder(a.out).Encode(w)
				}
				_, err = fmt.Fprintf(a.out, "report %s\n", w.File)
				return err
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

// written is the JSON of `report`.
type written struct {
	File    string   `json:"file"`
	SHA256  string   `json:"sha256"` // of the file
	Records []string `json:"records_sha256"`
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

// writeReport writes a report of one session, of two, or of a visit, and says what it wrote.
func writeReport(ctx context.Context, db *store.Store, refs []string, f reportFlags) (out written, err error) {
	r := &report.Report{Program: versionText(), Made: time.Now(), Paper: f.paper}
	if f.pdf {
		r.Paper = cmp.Or(f.paper, "a4")
	}
	if f.visit != "" {
		if refs, err = visitReport(ctx, db, r, &f); err != nil {
			return out, err
		}
	}
	if r.Shop, err = report.ReadShop(f.config, f.head); err != nil {
		return out, err
	}
	var dossiers []*dossier.Dossier
	for _, ref := range refs {
		m, d, err := dossierOf(ctx, db, ref, hashed(dossier.Setup{Traces: true, Trims: true}))
		if err != nil {
			return out, err
		}
		s := report.NewSubject(m, d)
		if f.vin {
			s.VIN = m.VIN
		}
		dossiers, r.Subjects = append(dossiers, d), append(r.Subjects, s)
		out.Records = append(out.Records, fmt.Sprintf("%x", s.Hash))
	}
	before, after := 0, len(refs)-1
	if r.Visit != nil {
		before, after = sidesOf(r.Subjects)
		r.Visit.Open = openWork(r.Subjects, dossiers)
		for i, s := range r.Subjects {
			s.Title = fmt.Sprintf("%d of %d", i+1, len(refs))
		}
	}
	r.Pair = [2]*report.Subject{r.Subjects[before], r.Subjects[after]}
	if before != after {
		r.Subjects[before].Title, r.Subjects[after].Title = "Before", "After"
		r.Compare = report.NewComparison(dossier.Compare(dossiers[before:before+1], dossiers[after:after+1]))
	}
	out.File, out.SHA256, err = r.File(ctx, f.out, f.form())
	return out, err
}
