package wide

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"math"
	"os"
	"strconv"
	"testing"
)

var update = flag.Bool("update", false, "write testdata/traces.json anew; testdata/golden.py then writes scipy.csv")

// goldenCase is a trace for another program, with the noise that is to be taken.
type goldenCase struct {
	Name string
	Trace
	Shape
	Hue
	Fall
	P, Scale float64
}

// goldenPlants are the loops whose traces are compared.
func goldenPlants() (list []goldenCase) {
	for _, c := range []struct {
		name string
		rate float64
		edit func(*plant)
	}{
		{"sound", 5, func(*plant) {}},
		{"half blind", 5, func(p *plant) { p.gain = 0.5 }},
		{"slow", 5, func(p *plant) { p.tauRich, p.tauLn = 0.6, 0.6 }},
		{"hose empties", 8, func(p *plant) { p.tail = 1 }},
	} {
		p := sound()
		c.edit(&p)
		p.feed = []feed{{0.07, 20.3, 1, 34, 0.5}}
		tr := p.trace(50, c.rate, 1)
		for _, v := range [][]float64{tr.YT, tr.Y, tr.UT, tr.U} {
			for i := range v {
				v[i] = math.Round(v[i]*1e6) / 1e6
			}
		}
		shape := Shape{21.2, 1, 34.5, 1}
		fall := Fall(p.tail > 0)
		e := fit(newFitter(tr, shape, Multiplies, fall), true)
		list = append(list, goldenCase{c.name, tr, e.Shape, Hue{0.5, 1}, fall, e.P, 0.004})
	}
	return list
}

// TestFitGolden: SciPy finds the same gain, delay and lag on the same traces under the same noise, and the same ends of the
// intervals, by dense matrices and a search of all parameters at once; testdata/golden.py.
func TestFitGolden(t *testing.T) {
	if *update {
		data, err := json.Marshal(goldenPlants())
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile("testdata/traces.json", data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	data, err := os.ReadFile("testdata/traces.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []goldenCase
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open("testdata/scipy.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || len(rows) != len(cases)+1 || len(cases) < 3 {
		t.Fatalf("%d rows of %d cases: %v", len(rows), len(cases), err)
	}
	for i, c := range cases {
		f := newFitter(c.Trace, c.Shape, Multiplies, c.Fall)
		f.tint(c.Hue)
		f.scale = c.Scale
		best := f.improve(f.start(), 12, -1)
		var e Estimate
		f.profiles(best, &e)
		f.gainProfile(best, &e)
		got := []float64{best.g, e.GLow, e.GHigh, best.v[atDelay], e.DelayLow, e.DelayHigh, math.Exp(best.v[atTau]), e.TauLow, e.TauHigh, math.Expm1(best.p), best.rss}
		for k, x := range got {
			want, err := strconv.ParseFloat(rows[i+1][k+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			off := 0.015
			if k == len(got)-1 {
				off = 0.002 * want // of the sum of squares
			}
			if math.Abs(x-want) > off {
				t.Errorf("%s: %s %.4f, SciPy says %.4f", c.Name, rows[0][k+1], x, want)
			}
		}
	}
}
