package report

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"html/template"
	"image"
	_ "image/jpeg" // the kinds of picture that a logo may be
	_ "image/png"

	"pushback/cmd/internal/smallfile"
)

// Limits of a logo: it goes into each report.
const (
	logoBytes  = 256 << 10
	logoPixels = 4000 // each way
)

// ErrLogo is a file that cannot be a logo.
var ErrLogo = errors.New("a logo is a PNG or JPEG picture of at most 256 kB")

// Logo is a picture that is part of the page.
type Logo struct{ URI template.URL }

// ReadLogo reads a PNG or JPEG file. Other kinds, SVG among them, which may hold scripts,
// are refused by their content whatever their name; the error wraps [ErrLogo].
func ReadLogo(path string) (*Logo, error) {
	data, err := smallfile.Read(path, logoBytes)
	if errors.Is(err, smallfile.ErrNotSmall) {
		return nil, fmt.Errorf("read %s: %w", path, ErrLogo)
	} else if err != nil {
		return nil, err
	}
	c, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || c.Width > logoPixels || c.Height > logoPixels {
		return nil, fmt.Errorf("read %s: %w", path, ErrLogo)
	}
	return &Logo{template.URL("data:image/" + kind + ";base64," + base64.StdEncoding.EncodeToString(data))}, nil
}
