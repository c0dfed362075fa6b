package report

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
)

var (
	// ErrNoBrowser is a PDF or PNG without Chromium.
	ErrNoBrowser = errors.New("no Chromium is installed here")
	// ErrNoTrims is a figure of trims that were not read under conditions that count.
	ErrNoTrims = errors.New("no reading of trim counts for a map")
	// ErrNoForce is a figure of a force that was not there.
	ErrNoForce = errors.New("the signal was not held on that side")
)

// WriteSVG writes one figure of the last side: ring, traces, lean, rich or trims.
func (r *Report) WriteSVG(w io.Writer, figure string) error {
	s := r.Last()
	volts, trim := s.trace().upperScale(s.trace()), trimScale(s.trace())
	if figure == "ring" {
		// Beside its words, a file of its own needs colours and a size.
		svg := ring.Of(s.Verdict).SVG(words.RingLabels(s.sensor()))
		head, rest, _ := strings.Cut(svg, ">")
		_, err := fmt.Fprintf(w, "%s width=\"880\" height=\"480\"><style>%s</style><rect width=\"440\" height=\"240\" fill=\"#fff\"/>%s\n", head, colours+ring.CSS, rest)
		return err
	}
	if figure == "trims" {
		cs := clouds(r.Subjects[len(r.Subjects)-1:])
		if len(cs) == 0 {
			return fmt.Errorf("draw trims: %w", ErrNoTrims)
		}
		_, err := io.WriteString(w, writeClouds(cs, colours+plotCSS))
		return err
	}
	v := s.trace().whole(s.trace().End, "The whole recording", volts, trim)
	if figure != "traces" {
		side := analysis.Side(figure)
		b, ok := s.trace().longest(side)
		if !ok {
			return fmt.Errorf("draw %s: %w", figure, ErrNoForce)
		}
		v = s.trace().around(b, words.Arrow(side)+" Forced "+figure, volts, trim, min(b.To-b.From, 60))
		v.half = false // it has the file for itself
	}
	_, err := io.WriteString(w, s.trace().alone(v, colours+plotCSS))
	return err
}

// WritePDF writes the report as PDF, printed by Chromium. The error wraps
// [ErrNoBrowser] when there is none.
func (r *Report) WritePDF(ctx context.Context, w io.Writer) error {
	var page bytes.Buffer
	if err := r.WriteHTML(&page); err != nil {
		return err
	}
	return browse(ctx, w, page.Bytes(), "report.html", "report.pdf", "%PDF-", "--no-pdf-header-footer", "--print-to-pdf=")
}

// WritePNG writes one figure as PNG, drawn by Chromium at twice its size.
func (r *Report) WritePNG(ctx context.Context, w io.Writer, figure string) error {
	var svg bytes.Buffer
	if err := r.WriteSVG(&svg, figure); err != nil {
		return err
	}
	size := fmt.Sprintf("--window-size=1000,%g", plotHeight)
	switch figure {
	case "ring":
		size = "--window-size=880,480"
	case "trims":
		size = fmt.Sprintf("--window-size=1000,%g", float64(len(clouds(r.Subjects[len(r.Subjects)-1:])))*(cloudFull+cloudHead))
	}
	return browse(ctx, w, svg.Bytes(), "figure.svg", "figure.png", "\x89PNG", size, "--hide-scrollbars", "--force-device-scale-factor=2", "--screenshot=")
}

// browse lets Chromium make a file of a page; the last of its flags takes the file's
// name. Nothing of the user's own browser is touched, and nothing is fetched.
func browse(ctx context.Context, w io.Writer, page []byte, in, out, magic string, flags ...string) error {
	browser := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			browser = p
			break
		}
	}
	if browser == "" {
		return fmt.Errorf("make %s: %w", strings.TrimPrefix(filepath.Ext(out), "."), ErrNoBrowser)
	}
	dir, err := os.MkdirTemp("", "pushback-report-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	in, out = filepath.Join(dir, in), filepath.Join(dir, out)
	if err := os.WriteFile(in, page, 0o600); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	args := []string{"--headless", "--disable-gpu", "--disable-quic", "--disable-component-update", "--disable-background-networking",
		"--no-first-run", "--user-data-dir=" + filepath.Join(dir, "profile")}
	if os.Geteuid() == 0 {
		args = append(args, "--no-sandbox") // which root cannot have
	}
	flags[len(flags)-1] += out
	args = append(append(args, flags...), (&url.URL{Scheme: "file", Path: in}).String())
	said, err := exec.CommandContext(ctx, browser, args...).CombinedOutput()
	data, rerr := os.ReadFile(out)
	switch {
	case err != nil:
		return fmt.Errorf("run %s: %w: %s", browser, err, lastLine(said))
	case rerr != nil || !bytes.HasPrefix(data, []byte(magic)):
		return fmt.Errorf("run %s: it made no file: %s", browser, lastLine(said))
	}
	_, err = w.Write(data)
	return err
}

func lastLine(out []byte) string {
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	return lines[len(lines)-1]
}
