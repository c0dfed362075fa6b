package switching

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"pushback/decode"
)

func rowsOf(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

// NumPy 1.24 and SciPy 1.10 on the same readings, by other ways than ours: peaks that stand
// out for cycles, roots of an interpolation for changes of side, the strongest line of a
// periodogram for uneven times; see testdata/golden.py.
func TestAgainstSciPy(t *testing.T) {
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	c := NewCollector("B1S1")
	for _, r := range rowsOf(t, "readings.csv") {
		at := time.Duration(math.Round(number(r[0])*1e6)) * time.Microsecond
		c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: number(r[1])})
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: number(r[2])})
	}
	bands := map[string]SpeedBand{}
	for _, b := range c.Bands(nil) {
		bands[b.Name] = b
	}
	checked := 0
	for _, row := range rowsOf(t, "golden.csv") {
		b, want := bands[row[0]], number(row[2])
		// Near: half the time between two readings where a moment is found between them.
		half := 0.5 / b.PerSecond
		got, near := math.NaN(), 0.0
		switch row[1] {
		case "low":
			got, near = b.Low, 1e-5
		case "high":
			got, near = b.High, 1e-5
		case "mean":
			got, near = b.Mean, 1e-5
		case "share rich":
			got, near = b.ShareRich, 1e-5
		case "readings/s":
			got, near = b.PerSecond, 1e-3
		case "cycles":
			got, near = b.Per10s*b.Seconds/10/2, 1
		case "changes in 10 s":
			got, near = b.Per10s, 0.015*want
		case "period":
			got, near = b.Period, half
		case "rich":
			got, near = b.Rich, half
		case "lean":
			got, near = b.Lean, half
		case "frequency":
			got, near = 1/b.Period, 0.03*want
		case "edge":
			for _, e := range []Edge{b.Rise, b.Fall} {
				if e.Shown() && !(e.AtLeast <= want && want <= e.AtMost) {
					t.Errorf("%s: edges of %.4f s are said to last %.4f to %.4f s", row[0], want, e.AtLeast, e.AtMost)
				}
			}
			got, near = want, 0
		}
		checked++
		if !(math.Abs(got-want) <= near) {
			t.Errorf("%s: %s is %.5f, want %.5f ± %.5f", row[0], row[1], got, want, near)
		}
	}
	if checked != 24 || !bands["idle"].Rise.Shown() {
		t.Errorf("%d values compared, rise %+v", checked, bands["idle"].Rise)
	}
}
