package report

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/smallfile"
	"pushback/cmd/internal/words"
)

// Head says who made a report, and of what; what is empty is left out.
type Head struct {
	Name                         string `json:"name"`
	Logo                         string `json:"logo"` // a file, beside the one that names it where it is relative
	Technician                   string `json:"technician"`
	Vehicle, Odometer, Complaint string `json:"-"` // of one visit, in no file
}

// maxHeadFile bounds the file that names a shop, bytes.
const maxHeadFile = 64 << 10

// ReadShop puts what a file says of a shop beneath what is given, and reads the logo. With no path
// it is shop.json in the user's configuration folder, where there is one.
func ReadShop(path string, given Head) (Shop, error) {
	kept, err := readHead(path)
	if err != nil {
		return Shop{}, err
	}
	s := Shop{Name: headText(cmp.Or(given.Name, kept.Name)), Technician: headText(cmp.Or(given.Technician, kept.Technician)),
		Vehicle: headText(given.Vehicle), Odometer: headText(given.Odometer), Complaint: headText(given.Complaint)}
	if logo := cmp.Or(given.Logo, kept.Logo); logo != "" {
		s.Logo, err = ReadLogo(logo)
	}
	return s, advice.On(err, "name a PNG or JPEG file with --logo, or leave it out")
}

// headText is a text as the head shows it: so long at most.
func headText(text string) string {
	const most = 500
	r := []rune(words.Clean(text))
	if len(r) > most {
		return string(r[:most]) + " …"
	}
	return string(r)
}

// readHead reads the file; none is no error where none was named.
func readHead(path string) (Head, error) {
	named := path != ""
	if !named {
		dir, err := os.UserConfigDir()
		if err != nil {
			return Head{}, nil
		}
		path = filepath.Join(dir, "pushback", "shop.json")
	}
	data, err := smallfile.Read(path, maxHeadFile)
	if !named && errors.Is(err, os.ErrNotExist) {
		return Head{}, nil
	} else if err != nil {
		return Head{}, err
	}
	var h Head
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&h); err != nil {
		return h, advice.On(fmt.Errorf("reading %s: %w", path, err), `it looks like {"name": "…", "technician": "…", "logo": "logo.png"}`)
	}
	if h.Logo != "" && !filepath.IsAbs(h.Logo) {
		h.Logo = filepath.Join(filepath.Dir(path), h.Logo)
	}
	return h, nil
}
