package compare

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"pushback/analysis/stats"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/decode"
)

func rows(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return r[1:]
}

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func madeTrims(t *testing.T) Result {
	read := func(name string) []trimmap.Reading {
		var out []trimmap.Reading
		for _, r := range rows(t, name) {
			out = append(out, trimmap.Reading{At: num(t, r[0]), Bank: 1, RPM: num(t, r[1]), Load: num(t, r[2]), Short: num(t, r[3]), Coolant: 90})
		}
		return out
	}
	return Trims(sides(read("before.csv")), sides(read("after.csv")))
}

// The conditions' means and errors are those of R 4.2.2 with boot's tsboot on the same
// recordings; see testdata/golden.R.
func TestAgainstR(t *testing.T) {
	r := madeTrims(t)
	if len(r.Cells) != 3 {
		t.Fatalf("%d conditions", len(r.Cells))
	}
	for i, want := range rows(t, "golden.csv") {
		c := r.Cells[i%3]
		h := c.Before
		if want[0] == "after" {
			h = c.After
		}
		if math.Abs(h.Mean-num(t, want[2])) > 1e-6 {
			t.Errorf("%s %s rpm: mean %.8f, R says %s", want[0], want[1], h.Mean, want[2])
		}
		// 500 resamples here, 20000 there: within 10 %, over three standard errors.
		if se := num(t, want[3]); math.Abs(h.SE-se) > 0.10*se {
			t.Errorf("%s %s rpm: error %.6f, R says %s", want[0], want[1], h.SE, want[3])
		}
	}
	if r.Answer != Better || r.Cells[0].Answer != Better || r.Cells[2].Answer != NoDifference {
		t.Errorf("from +10, +4, +1 to +2, +0.8, +0.3 %%: %s, %+v", r.Answer, r.Why)
	}
}

// The intervals and p-values of the same recordings, and the errors of a made-up sensor's
// figures, are those of SciPy 1.10.1; see testdata/golden.py.
func TestAgainstSciPy(t *testing.T) {
	near := func(what string, got float64, want string, share, least float64) {
		t.Helper()
		if w := num(t, want); math.Abs(got-w) > max(share*math.Abs(w), least) {
			t.Errorf("%s: %.6f, SciPy says %s", what, got, want)
		}
	}
	r := madeTrims(t)
	for i, want := range rows(t, "intervals.csv") {
		c := r.Cells[i]
		near(want[0]+" rpm, difference", c.Diff.Value, want[1], 0, 1e-6)
		// 500 resamples here, 20000 there.
		near(want[0]+" rpm, interval from", c.Diff.Lo, want[2], 0, 0.03)
		near(want[0]+" rpm, interval to", c.Diff.Hi, want[3], 0, 0.03)
		near(want[0]+" rpm, p", stats.StudentP(c.Nearer.Value/c.se, c.df), want[4], 0.02, 2e-4)
	}
	c := switching.NewCollector("B1S1")
	for _, row := range rows(t, "switching.csv") {
		at := time.Duration(num(t, row[0]) * float64(time.Second))
		for _, s := range []struct {
			name string
			v    float64
		}{{"RPM", 800}, {"O2S11", num(t, row[1])}} {
			c.Add(decode.Sample{Signal: decode.ByName(s.name), Sent: at, Received: at, Value: s.v})
		}
	}
	b := c.Bands(nil)[0]
	errors := b.Errors(2000, 3)
	for i, want := range rows(t, "errors.csv") {
		f := switching.Figure(i)
		if f.String() != want[0] {
			t.Fatalf("figure %q, SciPy's is %q", f, want[0])
		}
		near(want[0], f.Of(b), want[1], 0, 0.0026) // of a step of 5 mV, which the two quantiles round otherwise
		// Standard errors of 2000 and of 5000 resamples agree to some 3 %.
		near(want[0]+", error", errors[i], want[2], 0.07, 0)
	}
}

// sides are recordings as Trims takes them.
func sides(recordings ...[]trimmap.Reading) (out []trimmap.Readings) {
	for _, r := range recordings {
		out = append(out, slices.Values(r))
	}
	return out
}

// made is a recording of a car that always adds mean %, plus what this recording differs by,
// in four conditions; its readings follow each other closely (0.9 from second to second).
func made(rng *rand.Rand, mean, differs float64) []trimmap.Reading {
	var out []trimmap.Reading
	mean += differs * rng.NormFloat64()
	e := 0.0
	for at := 0; at < 600; at++ {
		cell := []struct{ rpm, load float64 }{{800, 25}, {1800, 30}, {2300, 50}, {2700, 70}}[at/50%4]
		e = 0.9*e + 1.2*rng.NormFloat64()
		out = append(out, trimmap.Reading{At: float64(at), Bank: 1, RPM: cell.rpm, Load: cell.load, Short: mean + e, Coolant: 90})
	}
	return out
}

// On two recordings of one unchanged car 'better' or 'worse' must come less than 5 times in
// 100, and 'moved' too; on a car that was repaired it must be seen.
func TestNoiseIsNoRepair(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of trials")
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const trials = 150
	for _, tt := range []struct {
		name             string
		before, after, n float64
		atLeast, atMost  int // better, in trials
		worse, moved     int // at most
		differs          float64
	}{
		{"unchanged, normal", 1, 1, 1, 0, 4, 4, 8, betweenRecordings},
		{"unchanged, adding 10 %", 10, 10, 1, 0, 6, 6, 8, betweenRecordings},
		{"unchanged, three recordings each", 10, 10, 3, 0, 6, 6, 8, betweenRecordings},
		{"repaired, +15 to +2 %", 15, 2, 1, trials * 95 / 100, trials, 0, trials, betweenRecordings},
		{"repaired, +9 to +2 %, three each", 9, 2, 3, trials * 90 / 100, trials, 0, trials, betweenRecordings},
	} {
		got := map[Answer]int{}
		moved := 0
		for range trials {
			var before, after []trimmap.Readings
			for range int(tt.n) {
				before = append(before, slices.Values(made(rng, tt.before, tt.differs)))
				after = append(after, slices.Values(made(rng, tt.after, tt.differs)))
			}
			r := Trims(before, after)
			got[r.Answer]++
			if r.Shifted {
				moved++
			}
		}
		if got[Better] < tt.atLeast || got[Better] > tt.atMost || got[Worse] > tt.worse || moved > tt.moved {
			t.Errorf("%s: %v, moved %d, of %d", tt.name, got, moved, trials)
		}
		if tt.before == tt.after && got[Better]+got[Worse] >= trials*5/100 {
			t.Errorf("%s: called a repair %d times in %d", tt.name, got[Better]+got[Worse], trials)
		}
	}
}

func TestAnswers(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	idle := func(mean float64) []trimmap.Reading {
		r := made(rng, mean, 0)
		for i := range r {
			r[i].RPM, r[i].Load = 800, 25
		}
		return r
	}
	fast := made(rng, 12, 0)
	for i := range fast {
		fast[i].RPM, fast[i].Load = 3500, 70
	}
	warming := idle(12)
	for i := range warming {
		warming[i].Coolant = 65
	}
	for _, tt := range []struct {
		name          string
		before, after []trimmap.Readings
		want          Answer
		shifted       bool
	}{
		{"nothing after", sides(idle(12)), sides(nil), NotComparable, false},
		{"other conditions", sides(idle(12)), sides(fast), NotComparable, false},
		{"warm against warming", sides(idle(12)), sides(warming), NotComparable, false},
		{"worse", sides(idle(1)), sides(idle(14)), Worse, true},
		{"from adding to cutting as much", sides(idle(9)), sides(idle(-9)), NoDifference, true},
		{"too much removed, yet better", sides(idle(20)), sides(idle(-4)), Better, true},
	} {
		if r := Trims(tt.before, tt.after); r.Answer != tt.want || r.Shifted != tt.shifted {
			t.Errorf("%s: %s, shifted %v (%v)", tt.name, r.Answer, r.Shifted, r.Why)
		}
	}
}

// The same recordings give the same answer, to the last digit.
func TestDeterminate(t *testing.T) {
	a, b := made(rand.New(rand.NewPCG(1, 1)), 3, 1), made(rand.New(rand.NewPCG(2, 1)), 5, 1)
	one := fmt.Sprintf("%+v", *Trims(sides(a), sides(b)).Overall)
	two := fmt.Sprintf("%+v", *Trims(sides(a), sides(b)).Overall)
	if one != two {
		t.Errorf("%s\n%s", one, two)
	}
}
