package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"pushback/cmd/internal/intake"
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

// showDry shows what a file was understood to hold.
func (a *app) showDry(path string, open intake.Open, all []intake.Session) error {
	var columns []columnJSON
	if r, err := open(context.Background()); err == nil {
		if t, ok := r.(*widecsv.File); ok {
			for _, c := range t.Understood() {
				columns = append(columns, columnJSON{c.Name, c.Signal, c.Unit, c.To, c.Guess})
			}
		}
		r.Close()
	}
	if a.json {
		type one struct {
			ID         string  `json:"id,omitempty"`
			Records    int     `json:"records"`
			Readings   int     `json:"readings"`
			DurationS  float64 `json:"duration_s"`
			Conclusion string  `json:"conclusion"`
			Content    string  `json:"content"`
		}
		list := []one{}
		for _, f := range all {
			list = append(list, one{f.Meta.ID, f.Records, f.Result.Samples, f.Result.End.Seconds(), string(f.Result.Verdict.Conclusion), hex.EncodeToString(f.Hash)})
		}
		return json.NewEncoder(a.out).Encode(map[string]any{"file": path, "columns": columns, "sessions": list})
	}
	if len(columns) > 0 {
		w := tabwriter.NewWriter(a.out, 0, 4, 2, ' ', 0)
		fmt.Fprintln(w, "COLUMN\tREAD AS\tUNIT")
		for _, c := range columns {
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
	for i := range all {
		writeTaken(a.out, path, &all[i])
	}
	_, err := fmt.Fprintln(a.out, "dry run: nothing was stored")
	return err
}
