package main

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/report"
	"pushback/cmd/internal/smallfile"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// reportFlags say how a report looks and where it goes.
type reportFlags struct {
	out, paper       string
	pdf              bool
	svg, png         string // a figure's name
	vin              bool
	config           string
	shop             shopConfig
	complaint, miles string
}

// shopConfig is the file that names a shop, and the flags that do.
type shopConfig struct {
	Name       string `json:"name"`
	Logo       string `json:"logo"` // a file, beside the configuration where it is relative
	Technician string `json:"technician"`
	vehicle    string
}

func newReport(a *app) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report SESSION [AFTER]",
		Short: "What you hand over: one HTML file, or a PDF",
		Long: `Writes a report of a session, or of two, before and after a repair: the first page for
the car's owner, the others for a technician. The file holds all it needs, opens without a
network and prints on A4 and Letter. The records are judged again for it.

The head of the first page comes from flags or from a file (--shop, else shop.json in
the folder pushback of your configuration folder, where there is one):

  {"name": "…", "technician": "…", "logo": "logo.png"}

A logo is PNG or JPEG, at most 256 kB. The vehicle identification number is left out
unless --with-vin asks for it (and it was stored).

--svg and --png write a single figure: ring, traces, lean or rich (the force of that side
from close by), trims (total trim against air flow). --pdf and --png need Chromium.`,
		Args: args(cobra.RangeArgs(1, 2)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(cmd, len(args)); err != nil {
				return err
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
	g.BoolVar(&f.pdf, "pdf", false, "write a PDF in place of HTML")
	g.StringVar(&f.paper, "paper", "", "`SIZE`: a4 or letter (default: the printer's; a PDF's is a4)")
	g.StringVar(&f.svg, "svg", "", "write one `FIGURE` as SVG: ring, traces, lean, rich, trims")
	g.StringVar(&f.png, "png", "", "write one `FIGURE` as PNG")
	g.StringVar(&f.config, "shop", "", "`FILE` that names the shop")
	g.StringVar(&f.shop.Name, "shop-name", "", "the shop's `NAME`")
	g.StringVar(&f.shop.Logo, "logo", "", "`FILE` with the shop's logo")
	g.StringVar(&f.shop.Technician, "technician", "", "`NAME` of the technician")
	g.StringVar(&f.shop.vehicle, "vehicle", "", "the vehicle in `WORDS` (default: the session's)")
	g.StringVar(&f.miles, "odometer", "", "the odometer's `READING` with its unit")
	g.StringVar(&f.complaint, "complaint", "", "why the car came, in the owner's `WORDS`")
	g.BoolVar(&f.vin, "with-vin", false, "print the vehicle identification number too, where it was stored")
	return cmd
}

// figures are what --svg and --png can draw.
var figures = []string{"ring", "traces", "lean", "rich", "trims"}

func (f *reportFlags) check(cmd *cobra.Command, sessions int) error {
	n := 0
	for _, on := range []bool{f.pdf, f.svg != "", f.png != ""} {
		if on {
			n++
		}
	}
	figure := f.svg + f.png
	switch {
	case n > 1:
		return usagef(cmd, "one of --pdf, --svg and --png at a time")
	case figure != "" && !slices.Contains(figures, figure):
		return usagef(cmd, "there is no figure %q; there are %s", figure, strings.Join(figures, ", "))
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

// writeReport writes a report of one session, or of two, and says what it wrote.
func writeReport(ctx context.Context, db *store.Store, refs []string, f reportFlags) (written, error) {
	r := &report.Report{Program: versionText(), Made: time.Now(), Paper: f.paper}
	var err error
	if r.Shop, err = f.head(); err != nil {
		return written{}, err
	}
	var dossiers []*dossier.Dossier
	for i, ref := range refs {
		m, d, err := dossierOf(ctx, db, ref, hashed(dossier.Setup{Traces: true, Trims: true}))
		if err != nil {
			return written{}, err
		}
		s := report.NewSubject(m, d)
		if f.vin {
			s.VIN = m.VIN
		}
		if len(refs) == 2 {
			s.Title = []string{"Before", "After"}[i]
		}
		dossiers, r.Subjects = append(dossiers, d), append(r.Subjects, s)
	}
	if len(refs) == 2 {
		r.Compare = report.NewComparison(dossier.Compare(dossiers[:1], dossiers[1:]))
	}
	ids := r.Subjects[0].Session.ID
	if len(r.Subjects) == 2 {
		ids += "-" + r.Subjects[1].Session.ID
	}
	out := written{File: f.out}
	for _, s := range r.Subjects {
		out.Records = append(out.Records, fmt.Sprintf("%x", s.Hash))
	}
	kind, write := "html", r.WriteHTML
	switch {
	case f.pdf:
		if r.Paper == "" {
			r.Paper = "a4"
		}
		kind, write = "pdf", func(w io.Writer) error { return r.WritePDF(ctx, w) }
	case f.svg != "":
		kind, write = f.svg+".svg", func(w io.Writer) error { return r.WriteSVG(w, f.svg) }
	case f.png != "":
		kind, write = f.png+".png", func(w io.Writer) error { return r.WritePNG(ctx, w, f.png) }
	}
	if out.File == "" {
		out.File = "pushback-" + ids + map[bool]string{true: "-", false: "."}[f.svg+f.png != ""] + kind
	}
	out.SHA256, err = writeFile(out.File, write)
	return out, reportError(err)
}

// reportError adds what to do.
func reportError(err error) error {
	switch {
	case errors.Is(err, report.ErrNoBrowser):
		return hinted{err, "install Chromium (Debian: apt-get install chromium), or write the HTML report and print it from any browser", statusFailed}
	case errors.Is(err, report.ErrNoTrims):
		return hinted{err, "trims count in closed loop, warm, steady and not forced: `pushback trims` says what was left out", statusFailed}
	case errors.Is(err, report.ErrNoForce):
		return hinted{err, "--svg traces draws the whole recording", statusFailed}
	}
	return err
}

// writeFile writes a file whole or not at all, and returns its SHA-256.
func writeFile(path string, write func(io.Writer) error) (sum string, err error) {
	if fi, err := os.Stat(path); err == nil && !fi.Mode().IsRegular() {
		return "", hinted{fmt.Errorf("writing %s: it is not an ordinary file", path), "name a file with --out", statusFailed}
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".pushback-report-*")
	if err != nil {
		return "", err
	}
	defer os.Remove(tmp.Name()) // gone already when all went well
	defer tmp.Close()
	h := sha256.New()
	if err := write(io.MultiWriter(tmp, h)); err != nil {
		return "", err
	}
	if err := tmp.Close(); err != nil {
		return "", err
	}
	return fmt.Sprintf("%x", h.Sum(nil)), os.Rename(tmp.Name(), path)
}

// head is the shop as file and flags name it; flags win.
func (f *reportFlags) head() (report.Shop, error) {
	path, must := f.config, f.config != ""
	if dir, err := os.UserConfigDir(); !must && err == nil {
		path = filepath.Join(dir, "pushback", "shop.json")
	}
	var c shopConfig
	data, err := smallfile.Read(path, 64<<10)
	switch {
	case err == nil:
		d := json.NewDecoder(strings.NewReader(string(data)))
		d.DisallowUnknownFields()
		if err := d.Decode(&c); err != nil {
			return report.Shop{}, hinted{fmt.Errorf("reading %s: %w", path, err), `it looks like {"name": "…", "technician": "…", "logo": "logo.png"}`, statusFailed}
		}
		if c.Logo != "" && !filepath.IsAbs(c.Logo) {
			c.Logo = filepath.Join(filepath.Dir(path), c.Logo)
		}
	case must || !errors.Is(err, os.ErrNotExist) && path != "":
		return report.Shop{}, err
	}
	first := func(a, b string) string {
		if a != "" {
			return a
		}
		return b
	}
	s := report.Shop{Name: words.Clean(first(f.shop.Name, c.Name)), Technician: words.Clean(first(f.shop.Technician, c.Technician)),
		Vehicle: words.Clean(f.shop.vehicle), Odometer: words.Clean(f.miles), Complaint: words.Clean(f.complaint)}
	if logo := first(f.shop.Logo, c.Logo); logo != "" {
		if s.Logo, err = report.ReadLogo(logo); err != nil {
			return s, hinted{err, "name a PNG or JPEG file with --logo, or leave it out", statusFailed}
		}
	}
	return s, nil
}
