package main

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/words"
)

// A class sees the same: one seed prints the same bytes, before the answer neither the car nor the
// verdict, after it both. The answer is held to the car's own truth.
func TestHiddenCar(t *testing.T) {
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
			if !simrun.Right(c, c.Expect) || simrun.Right(c, "nothing") {
				t.Errorf("%s: its own conclusion is not right", c.Name)
			}
		}
		if len(seen) != 12 {
			t.Errorf("from %d: %d cars", from, len(seen))
		}
	}
}
