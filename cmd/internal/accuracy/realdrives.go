package accuracy

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"time"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// realColumns are the columns of the real drives' file, and the standard's names for them.
var realColumns = map[string]string{"rpm": "RPM", "load_pct": "LOAD_PCT", "stft_b1_pct": "SHRTFT1", "ltft_b1_pct": "LONGFT1", "map_kpa": "MAP", "ect_c": "ECT", "iat_c": "IAT", "vss_kmh": "VSS"}

// RealDrives judges the recordings of a real car that nobody forced, which
// testdata/realtrims/README.md tells of: rows of values under a header, in order of session.
func RealDrives(path string) ([]Result, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read the real drives: %w", err)
	}
	defer f.Close()
	drives, err := readDrives(f)
	if err != nil {
		return nil, fmt.Errorf("read the real drives in %s: %w", path, err)
	}
	var list []Result
	for _, d := range drives {
		t := &truth.Test{Fault: d.name, Accepted: []string{"nothing_forced", "not_ready"}, Hours: d.records[len(d.records)-1].At.Hours()}
		list = append(list, Judge(t, &records{list: d.records}))
	}
	return list, nil
}

type drive struct {
	name    string
	records []obd.Record
	begin   float64
}

func readDrives(r io.Reader) ([]*drive, error) {
	rows := csv.NewReader(r)
	header, err := rows.Read()
	if err != nil {
		return nil, err
	}
	session, at := slices.Index(header, "session"), slices.Index(header, "t_s")
	if session < 0 || at < 0 {
		return nil, errors.New("no columns session and t_s")
	}
	var list []*drive
	for {
		cells, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return list, nil
		}
		if err != nil {
			return nil, err
		}
		t, err := strconv.ParseFloat(cells[at], 64)
		if err != nil {
			return nil, err
		}
		if len(list) == 0 || list[len(list)-1].name != cells[session] {
			list = append(list, &drive{name: cells[session], begin: t})
		}
		d := list[len(list)-1]
		row := &obd.Row{}
		for i, name := range header {
			v, err := strconv.ParseFloat(cells[i], 64)
			if signal := realColumns[name]; signal != "" && err == nil {
				row.Names, row.Values = append(row.Names, signal), append(row.Values, v)
			}
		}
		d.records = append(d.records, obd.Record{Seq: int64(len(d.records)), At: time.Duration((t-d.begin)*1e6).Round(1) * time.Microsecond, Row: row})
	}
}
