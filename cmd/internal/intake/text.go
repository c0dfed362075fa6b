package intake

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
)

// Said is what was said of the sessions of a file beside it; "" nothing.
type Said struct {
	Sensor, By           string
	Label, Vehicle, Note string
	Visit                string // the name of one that is here
	Version              string // of this program, where the file names none
}

// describe makes the description of a session that is stored here of what the file says and
// what was said.
func (s Said) describe(m store.Meta) store.Meta {
	m.Watching, m.By = words.Clean(cmp.Or(s.Sensor, m.Watching, "B1S1")), cmp.Or(s.By, m.By)
	if _, err := analysis.ParseBy(m.By); err != nil || m.By == "" {
		m.By = "" // its readings tell the kind of sensor, and that what can have been forced
	}
	for _, f := range []struct {
		text *string
		said string // on the command line
	}{{&m.Label, s.Label}, {&m.Vehicle, s.Vehicle}, {&m.Note, s.Note}, {&m.Adapter, ""}, {&m.VIN, ""}, {&m.Version, ""}, {&m.Conclusion, ""}} {
		*f.text = words.Clean(cmp.Or(f.said, *f.text))
	}
	if s.Visit != "" {
		m.Visit = &store.Visit{Name: s.Visit}
	}
	if m.Visit != nil {
		m.Visit.Each(words.Clean)
	}
	m.Version = cmp.Or(m.Version, s.Version)
	if m.Origin != "live" && m.Origin != "simulated" {
		m.Origin = "import"
	}
	m.Sensors = slices.DeleteFunc(m.Sensors, func(name string) bool {
		_, err := decode.ParseSensorID(name)
		return err != nil
	})
	return m
}

// Write says what a session of the file at path holds.
func (f *Session) Write(w io.Writer, path string) {
	n, what := f.Records, "records"
	if f.Table.Rows > 0 {
		n, what = f.Table.Rows, "rows"
	}
	fmt.Fprintf(w, "%s: %d %s over %.1f s, %d readings (%.1f a second)\n",
		path, n, what, f.Result.End.Seconds(), f.Result.Samples, rate(f.Result.Samples, f.Result.End))
	if len(f.Table.Names) > 0 {
		fmt.Fprintf(w, "  signals: %s\n", strings.Join(f.Table.Names, ", "))
	}
	if f.Table.Rows > 0 && !slices.Contains(f.Meta.Sensors, f.Meta.Watching) {
		has := "it has none for any oxygen sensor"
		if len(f.Meta.Sensors) > 0 {
			has = "it has " + strings.Join(f.Meta.Sensors, ", ")
		}
		fmt.Fprintf(w, "warning: the table has no column for %s, so no force on it can be seen (%s)\n", f.Meta.Watching, has)
	}
	for _, line := range words.FigureLines(f.Meta.Watching, f.Judge.Figures()) {
		fmt.Fprintln(w, "  "+line)
	}
	fmt.Fprintf(w, "  events: %d; conclusion: %s\n", len(f.Result.Events), words.ConclusionShort(string(f.Result.Verdict.Conclusion)))
}

func rate(n int, over time.Duration) float64 {
	if over <= 0 {
		return 0
	}
	return float64(n) / over.Seconds()
}
