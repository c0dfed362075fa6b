package analysis

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

// script reads a series of readings as text: steps with semicolons between, each a time and a value,
// or a stretch of time with how often it is read and a value, or two that it goes between in a
// straight line:
//
//	0.2s 0.45; 1s..3s/200ms 0.88; 3s..6s/0.5s 0.88->0.1
//
// The end of a stretch is its last reading where a whole number of steps leads to it. Times only go
// forward.
func script(text string) ([]point, error) {
	var out []point
	add := func(t time.Duration, v float64) error {
		s := t.Seconds()
		if len(out) > 0 && s < out[len(out)-1].hi {
			return fmt.Errorf("%v is before what stands ahead of it", t)
		}
		out = append(out, point{lo: s, hi: s, v: v})
		return nil
	}
	for _, step := range strings.Split(text, ";") {
		when, values, two := strings.Cut(strings.TrimSpace(step), " ")
		if !two {
			return nil, fmt.Errorf("%q is no time and value", step)
		}
		first, last, moves := strings.Cut(values, "->")
		from, err := strconv.ParseFloat(first, 64)
		to := from
		if err == nil && moves {
			to, err = strconv.ParseFloat(last, 64)
		}
		if err != nil {
			return nil, err
		}
		begin, rest, stretch := strings.Cut(when, "..")
		if !stretch {
			t, err := time.ParseDuration(begin)
			if err != nil || moves {
				return nil, fmt.Errorf("%q: one time has one value (%v)", step, err)
			}
			if err := add(t, from); err != nil {
				return nil, err
			}
			continue
		}
		end, every, _ := strings.Cut(rest, "/")
		var d [3]time.Duration
		for i, s := range []string{begin, end, every} {
			if d[i], err = time.ParseDuration(s); err != nil {
				return nil, err
			}
		}
		if d[2] <= 0 || d[1] <= d[0] {
			return nil, fmt.Errorf("%q does not go forward", step)
		}
		for t := d[0]; t <= d[1]; t += d[2] {
			if err := add(t, from+(to-from)*float64(t-d[0])/float64(d[1]-d[0])); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// scripted reads a script that a test has written, its times counted from at, its values changed by f.
func scripted(t testing.TB, text string, at float64, f func(float64) float64) []point {
	t.Helper()
	points, err := script(text)
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	for i := range points {
		p := &points[i]
		p.lo, p.hi, p.v = p.lo+at, p.hi+at, f(p.v)
	}
	return points
}

func same(v float64) float64 { return v }

func TestScript(t *testing.T) {
	for _, c := range []struct {
		text string
		want []point
	}{
		{"1s 0.45", []point{{1, 1, 0.45}}},
		{"0s 0.45; 1500ms 0.05", []point{{0, 0, 0.45}, {1.5, 1.5, 0.05}}},
		{"1s..2s/500ms 0.9", []point{{1, 1, 0.9}, {1.5, 1.5, 0.9}, {2, 2, 0.9}}},
		{"0s..2s/1s 1->-1; 3s -1", []point{{0, 0, 1}, {1, 1, 0}, {2, 2, -1}, {3, 3, -1}}},
		{"0s..1.1s/500ms 2", []point{{0, 0, 2}, {0.5, 0.5, 2}, {1, 1, 2}}},
	} {
		got, err := script(c.text)
		if err != nil || len(got) != len(c.want) {
			t.Errorf("%q: %v, %v", c.text, got, err)
			continue
		}
		for i := range got {
			if math.Abs(got[i].hi-c.want[i].hi) > 1e-9 || math.Abs(got[i].v-c.want[i].v) > 1e-9 {
				t.Errorf("%q: %v, want %v", c.text, got[i], c.want[i])
			}
		}
	}
	for _, text := range []string{"", "1s", "1 0.4", "1s x", "1s 1->2", "2s 1; 1s 1", "1s..1s/1s 1", "1s..2s/0s 1", "1s..2s 1", "2s..1s/100ms 1", "1s..2s/100ms 1->"} {
		if got, err := script(text); err == nil {
			t.Errorf("%q: %v, want an error", text, got)
		}
	}
}
