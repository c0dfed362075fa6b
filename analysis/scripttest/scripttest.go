// Package scripttest reads, for tests, what happens in time from text: a script is steps with
// semicolons between, each a time and words.
//
//	0.2s 0.45; 1s..3s/200ms 0.88; 3s..6s/0.5s 0.88->0.1
//	2s ready; 19s begins lean; 36s ends lean; 40s switches
//
// A time is one as [time.ParseDuration] has it, or a stretch with how often: the end of a stretch is its
// last time where a whole number of steps leads to it. Times only go forward.
package scripttest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// A Step is words at a time.
type Step struct {
	At    time.Duration
	Words string
	Of    bool    // it is one of a stretch
	Share float64 // 0 to 1: how far the stretch has come
}

// A Point is a reading at a time.
type Point struct {
	At    float64 // s
	Value float64
}

// ParseSteps reads a script. The error names the step that is wrong.
func ParseSteps(text string) ([]Step, error) {
	var out []Step
	for _, step := range strings.Split(text, ";") {
		when, words, two := strings.Cut(strings.TrimSpace(step), " ")
		if !two {
			return nil, fmt.Errorf("%q is no time and words", step)
		}
		times, err := parseTimes(when)
		if err != nil {
			return nil, fmt.Errorf("%q: %w", step, err)
		}
		for _, t := range times {
			if len(out) > 0 && t < out[len(out)-1].At {
				return nil, fmt.Errorf("%q: %v is before what stands ahead of it", step, t)
			}
			s := Step{At: t, Words: strings.TrimSpace(words)}
			if s.Of = strings.Contains(when, ".."); len(times) > 1 {
				s.Share = float64(t-times[0]) / float64(times[len(times)-1]-times[0])
			}
			out = append(out, s)
		}
	}
	return out, nil
}

// parseTimes reads "1s", or the times of "1s..3s/200ms".
func parseTimes(when string) ([]time.Duration, error) {
	begin, rest, stretch := strings.Cut(when, "..")
	first, err := time.ParseDuration(begin)
	if err != nil || !stretch {
		return []time.Duration{first}, err
	}
	end, each, _ := strings.Cut(rest, "/")
	last, err := time.ParseDuration(end)
	if err != nil {
		return nil, err
	}
	step, err := time.ParseDuration(each)
	if err != nil {
		return nil, err
	}
	if step <= 0 || last <= first {
		return nil, fmt.Errorf("%s does not go forward", when)
	}
	var out []time.Duration
	for t := first; t <= last; t += step {
		out = append(out, t)
	}
	return out, nil
}

// ParsePoints reads a script of readings: the words are a value, or two that a stretch goes between in
// a straight line, from its first reading to its last.
func ParsePoints(text string) ([]Point, error) {
	steps, err := ParseSteps(text)
	if err != nil {
		return nil, err
	}
	var out []Point
	for _, s := range steps {
		first, last, moves := strings.Cut(s.Words, "->")
		from, err := strconv.ParseFloat(first, 64)
		to := from
		if moves && !s.Of {
			return nil, fmt.Errorf("%q: one time has one value", s.Words)
		}
		if err == nil && moves {
			to, err = strconv.ParseFloat(last, 64)
		}
		if err != nil {
			return nil, err
		}
		out = append(out, Point{At: s.At.Seconds(), Value: from + (to-from)*s.Share})
	}
	return out, nil
}

// Steps is ParseSteps of a script that a test has written.
func Steps(t testing.TB, text string) []Step {
	t.Helper()
	steps, err := ParseSteps(text)
	if err != nil {
		t.Fatal(err)
	}
	return steps
}

// Points is ParsePoints of a script that a test has written.
func Points(t testing.TB, text string) []Point {
	t.Helper()
	points, err := ParsePoints(text)
	if err != nil {
		t.Fatal(err)
	}
	return points
}

// Told is a reading of a signal, or words of somebody, at a time.
type Told struct {
	At    time.Duration
	Name  string // of the signal; "says" of words
	Value float64
	Words string
}

// Merge reads several scripts, each "NAME script", of readings or, named "says", of words, and returns what they
// tell in order of time; at one time in order of the scripts.
func Merge(t testing.TB, scripts ...string) []Told {
	t.Helper()
	var out []Told
	for _, s := range scripts {
		name, script, _ := strings.Cut(s, " ")
		if name == "says" {
			for _, step := range Steps(t, script) {
				out = append(out, Told{At: step.At, Name: name, Words: step.Words})
			}
			continue
		}
		for _, p := range Points(t, script) {
			out = append(out, Told{At: time.Duration(math.Round(p.At * float64(time.Second))), Name: name, Value: p.Value})
		}
	}
	slices.SortStableFunc(out, func(a, b Told) int { return cmp.Compare(a.At, b.At) })
	return out
}

// An Event is what was told of a script, by its name and when it happened, s.
type Event struct {
	Name string
	T    float64
}

// Tells fails unless the events are those of want, "name s, name s", in its order; the times may be a second off.
func Tells(t testing.TB, what string, got []Event, want string) {
	t.Helper()
	var steps, is []string
	if want != "" {
		steps = strings.Split(want, ", ")
	}
	ok := len(steps) == len(got)
	for i, e := range got {
		is = append(is, fmt.Sprintf("%s %.1f", e.Name, e.T))
		if !ok {
			continue
		}
		name, at, _ := strings.Cut(steps[i], " ")
		when, err := strconv.ParseFloat(at, 64)
		if err != nil {
			t.Fatalf("%s: %q: %v", what, steps[i], err)
		}
		ok = e.Name == name && math.Abs(e.T-when) <= 1
	}
	if !ok {
		t.Errorf("%s:\n got %s\nwant %s", what, strings.Join(is, ", "), want)
	}
}
