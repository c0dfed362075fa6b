package report

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"pushback/cmd/internal/advice"
	"pushback/store/transfer"
)

// Form is what a report is written as: "html", "pdf", or a figure's name with ".svg" or ".png".
type Form string

// Figures are what can be drawn alone.
var Figures = []string{"ring", "traces", "lean", "rich", "trims"}

// name is that of a report's file, with the ids of its sessions.
func (r *Report) name(f Form) string {
	name := "pushback"
	for _, s := range r.Subjects {
		name += "-" + s.Session.ID
	}
	if strings.Contains(string(f), ".") {
		return name + "-" + string(f)
	}
	return name + "." + string(f)
}

// File writes the report to a file, whole or not at all, and returns its name and SHA-256.
// Without a path it is named after the sessions.
func (r *Report) File(ctx context.Context, path string, f Form) (name, sum string, err error) {
	if path == "" {
		path = r.name(f)
	}
	if fi, err := os.Stat(path); err == nil && !fi.Mode().IsRegular() {
		return path, "", advice.On(fmt.Errorf("writing %s: it is not an ordinary file", path), "name a file with --out")
	}
	h := sha256.New()
	err = transfer.ToFile(path, func(w io.Writer) error { return r.write(ctx, io.MultiWriter(w, h), f) })
	for _, known := range []struct {
		is error
		do string
	}{
		{ErrNoBrowser, "install Chromium (Debian: apt-get install chromium), or write the HTML report and print it from any browser"},
		{ErrNoTrims, "trims count in closed loop, warm, steady and not forced: `pushback trims` says what was left out"},
		{ErrNoForce, "--svg traces draws the whole recording"},
	} {
		if errors.Is(err, known.is) {
			err = advice.On(err, known.do)
		}
	}
	return path, fmt.Sprintf("%x", h.Sum(nil)), err
}

func (r *Report) write(ctx context.Context, w io.Writer, f Form) error {
	figure, kind, one := strings.Cut(string(f), ".")
	switch {
	case f == "html":
		return r.WriteHTML(w)
	case f == "pdf":
		return r.WritePDF(ctx, w)
	case one && kind == "svg" && slices.Contains(Figures, figure):
		return r.WriteSVG(w, figure)
	case one && kind == "png" && slices.Contains(Figures, figure):
		return r.WritePNG(ctx, w, figure)
	}
	return fmt.Errorf("write a report: there is no form %q", f)
}
