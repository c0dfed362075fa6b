package main

import (
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/words"
)

// A class sees the same: one seed prints the same bytes, before the answer neither the car nor the
// verdict, after it both. The answer is held to the car's own truth.
func TestHiddenCar(t *testing.T) {
	if testing.Short() {
		t.Skip("guided tests")
	}
	const seed = 5
	car, err := simrun.Hidden(seed)
	if err != nil {
		t.Fatal(err)
	}
	lesson := func(in string) string {
		var out, errOut bytes.Buffer
		args := []string{"--db", filepath.Join(t.TempDir(), "p.db"), "demo", "--hide", "--seed", "5"}
		if status := run(context.Background(), args, strings.NewReader(in), &out, &errOut); status != 0 {
			t.Fatalf("status %d: %s", status, errOut.String())
		}
		return out.String()
	}
	right, again := lesson("rubbish\n"+car.Expect+"\nlook at it\n"), lesson("rubbish\n"+car.Expect+"\nlook at it\n")
	if right != again {
		t.Error("the same seed printed something else")
	}
	before, after, found := strings.Cut(right, words.LessonVerdict)
	if !found || strings.Contains(before, car.Name) || strings.Contains(before, "✓") {
		t.Errorf("the answer is told before the question:\n%s", before)
	}
	for _, want := range []string{words.LessonRight, car.Name, car.About[:20], "look at it"} {
		if !strings.Contains(after, want) {
			t.Errorf("%q is missing in:\n%s", want, after)
		}
	}
	if wrong := lesson("not ready\n\n"); !strings.Contains(wrong, words.LessonWrong) {
		t.Errorf("a wrong answer:\n%s", wrong)
	}
}

// What a test measures besides is held to the simulated car's own physics: vacuum-leak lets in 0.36 g/s of air, and its
// catalyst stores 0.5 g of oxygen.
func TestMeasuredBeside(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	seed := uint64(1)
	for ; ; seed++ {
		if c, err := simrun.Hidden(seed); err != nil || c.Name == "vacuum-leak" {
			break
		}
	}
	if _, status := command(t, "--db", db, "demo", "--hide", "--seed", strconv.FormatUint(seed, 10)); status != 0 {
		t.Fatal(status)
	}
	out, _ := command(t, "--db", db, "--json", "show", "last")
	var shown struct {
		Found struct {
			Measures struct {
				Rest struct {
					Trim float64 `json:"total_trim_pct"`
					Flow float64 `json:"air_g_s"`
				} `json:"lean_at_idle"`
				Oxygen []struct {
					Side   string  `json:"side"`
					Grams  float64 `json:"oxygen_g"`
					Passed bool    `json:"rear_followed"`
				} `json:"catalyst_oxygen"`
			} `json:"measures"`
		} `json:"found"`
	}
	if err := json.Unmarshal([]byte(out), &shown); err != nil {
		t.Fatal(err)
	}
	m := shown.Found.Measures
	if leak := m.Rest.Trim / 100 * m.Rest.Flow; leak < 0.31 || leak > 0.41 {
		t.Errorf("a leak of %.2f g/s, it is 0.36", leak)
	}
	if len(m.Oxygen) != 2 || m.Oxygen[0].Side == m.Oxygen[1].Side {
		t.Fatalf("oxygen %+v", m.Oxygen)
	}
	for _, o := range m.Oxygen {
		if !o.Passed || o.Grams < 0.2 || o.Grams > 0.8 {
			t.Errorf("oxygen %+v, the catalyst stores 0.5 g", o)
		}
	}
}

// Twelve seeds on end hide twelve cars, in an order of their own.
func TestTwelveCars(t *testing.T) {
	for _, from := range []uint64{1, 13} {
		seen := map[string]bool{}
		for seed := from; seed < from+12; seed++ {
			c, err := simrun.Hidden(seed)
			if err != nil {
				t.Fatal(err)
			}
			seen[c.Name] = true
			expects := simrun.Expects(c)
			if !simrun.Right(c, expects[0]) || simrun.Right(c, "nothing") {
				t.Errorf("%s: its own conclusion is not right", c.Name)
			}
			for _, e := range expects {
				if a, ok := words.Answered(e); !ok || string(a) != e {
					t.Errorf("%s: %q cannot be answered", c.Name, e)
				}
			}
		}
		if len(seen) != 12 {
			t.Errorf("from %d: %d cars", from, len(seen))
		}
	}
}
