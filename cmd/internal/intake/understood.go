package intake

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"text/tabwriter"

	"pushback/cmd/internal/words"
	"pushback/store/widecsv"
)

// columnJSON is a table's column as a dry run shows it.
type columnJSON struct {
	Column string `json:"column"`
	Signal string `json:"signal,omitempty"`
	Unit   string `json:"unit,omitempty"`
	To     string `json:"to,omitempty"`
	Guess  string `json:"guess,omitempty"`
}

// Understood is what a file was understood to hold, for a look before anything is stored.
type Understood struct {
	Columns  []columnJSON     `json:"columns"` // null: it is no table of another program's
	File     string           `json:"file"`
	Sessions []understoodJSON `json:"sessions"`

	all []Session
}

type understoodJSON struct {
	ID         string  `json:"id,omitempty"`
	Records    int     `json:"records"`
	Readings   int     `json:"readings"`
	DurationS  float64 `json:"duration_s"`
	Conclusion string  `json:"conclusion"`
	Content    string  `json:"content"`
}

// Understand sums up what was read of a file.
func Understand(ctx context.Context, path string, open Open, all []Session) Understood {
	u := Understood{File: path, Sessions: []understoodJSON{}, all: all}
	if r, err := open(ctx); err == nil {
		if t, ok := r.(*widecsv.File); ok {
			for _, c := range t.Understood() {
				u.Columns = append(u.Columns, columnJSON{c.Name, c.Signal, c.Unit, c.To, c.Guess})
			}
		}
		r.Close()
	}
	for _, f := range all {
		u.Sessions = append(u.Sessions, understoodJSON{f.Meta.ID, f.Records, f.Result.Samples, f.Result.End.Seconds(), string(f.Result.Verdict.Conclusion), hex.EncodeToString(f.Hash)})
	}
	return u
}

// Write prints it.
func (u Understood) Write(out io.Writer) error {
	if len(u.Columns) > 0 {
		w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
		fmt.Fprintln(w, "COLUMN\tREAD AS\tUNIT")
		for _, c := range u.Columns {
			as, unit := c.Signal, c.Unit
			switch {
			case as == "" && c.Guess != "":
				as = "left aside (" + c.Guess + "?)"
			case as == "":
				as = "left aside"
			case unit != c.To:
				unit += " → " + c.To
			}
			fmt.Fprintf(w, "%s\t%s\t%s\n", words.Printable(c.Column), as, unit)
		}
		if err := w.Flush(); err != nil {
			return err
		}
	}
	for i := range u.all {
		u.all[i].Write(out, u.File)
	}
	_, err := fmt.Fprintln(out, "dry run: nothing was stored")
	return err
}
