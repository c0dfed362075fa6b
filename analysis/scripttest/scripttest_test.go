package scripttest

import (
	"math"
	"slices"
	"testing"
	"time"
)

func TestParseSteps(t *testing.T) {
	got := Steps(t, "2s ready; 1m1.5s begins lean ; 62s..63s/500ms  tap")
	want := []Step{{2 * time.Second, "ready", false, 0}, {61500 * time.Millisecond, "begins lean", false, 0},
		{62 * time.Second, "tap", true, 0}, {62500 * time.Millisecond, "tap", true, 0.5}, {63 * time.Second, "tap", true, 1}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range got {
		if got[i] != want[i] {
			t.Errorf("step %d: %v, want %v", i, got[i], want[i])
		}
	}
}

func TestParsePoints(t *testing.T) {
	for _, c := range []struct {
		text string
		want []Point
	}{
		{"1s 0.45", []Point{{1, 0.45}}},
		{"0s 0.45; 1500ms 0.05", []Point{{0, 0.45}, {1.5, 0.05}}},
		{"1s..2s/500ms 0.9", []Point{{1, 0.9}, {1.5, 0.9}, {2, 0.9}}},
		{"0s..2s/1s 1->-1; 3s -1", []Point{{0, 1}, {1, 0}, {2, -1}, {3, -1}}},
		{"0s..1.1s/500ms 2", []Point{{0, 2}, {0.5, 2}, {1, 2}}},
		{"0s..1.1s/500ms 2->4", []Point{{0, 2}, {0.5, 3}, {1, 4}}}, // it arrives
	} {
		got := Points(t, c.text)
		if len(got) != len(c.want) {
			t.Errorf("%q: %v", c.text, got)
			continue
		}
		for i := range got {
			if math.Abs(got[i].At-c.want[i].At) > 1e-9 || math.Abs(got[i].Value-c.want[i].Value) > 1e-9 {
				t.Errorf("%q: %v, want %v", c.text, got[i], c.want[i])
			}
		}
	}
	for _, text := range []string{"", "1s", "1 0.4", "1s x", "1s 1->2", "2s 1; 1s 1", "1s..1s/1s 1", "1s..2s/0s 1", "1s..2s 1", "2s..1s/100ms 1", "1s..2s/100ms 1->"} {
		if got, err := ParsePoints(text); err == nil {
			t.Errorf("%q: %v, want an error", text, got)
		}
	}
}

func TestMerge(t *testing.T) {
	got := Merge(t, "RPM 0s..2s/1s 800->900", "says 1s lean; 1.5s release", "ECT 1s 90")
	want := []Told{{0, "RPM", 800, ""}, {time.Second, "RPM", 850, ""}, {time.Second, "says", 0, "lean"}, {time.Second, "ECT", 90, ""},
		{1500 * time.Millisecond, "says", 0, "release"}, {2 * time.Second, "RPM", 900, ""}}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// quietly is a testing.TB that only notes whether it failed.
type quietly struct {
	testing.TB
	failed bool
}

func (q *quietly) Helper()               {}
func (q *quietly) Errorf(string, ...any) { q.failed = true }

func TestTells(t *testing.T) {
	got := []Event{{"ready", 2}, {"gap", 9.4}}
	for want, ok := range map[string]bool{"ready 2, gap 10": true, "ready 3, gap 8.5": true, "ready 2, gap 11": false, "gap 10, ready 2": false, "ready 2": false, "": false, "ready 2, gap 9, gap 9": false} {
		q := &quietly{}
		Tells(q, "it", got, want)
		if q.failed == ok {
			t.Errorf("%q: fails %v", want, q.failed)
		}
	}
	q := &quietly{}
	if Tells(q, "it", nil, ""); q.failed {
		t.Error("nothing is not nothing")
	}
}
