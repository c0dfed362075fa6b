package wide

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/recent"
)

// unsaidRun is what a session of the plant comes to in which nobody says anything.
func unsaidRun(p plant, seconds float64, before func(*Watcher)) (begun []string, w *Watcher) {
	w = New(analysis.Config{By: analysis.ByMixture})
	if before != nil {
		before(w)
	}
	take := func(events []analysis.Event) {
		for _, e := range events {
			if e.Name == analysis.ForceBegins {
				begun = append(begun, fmt.Sprintf("%s %.0f", e.Side, e.T))
			}
		}
	}
	for _, s := range p.samples(seconds, 5, 3) {
		take(w.Step(s))
	}
	take(w.Finish(time.Duration(seconds * float64(time.Second))))
	return begun, w
}

// A mixture that is moved and that nobody announced: one change may be tank vapor, both sides are a test, a mixture that goes on
// stepping does so by itself, and what a guide has asked for is as good as said.
func TestUnsaid(t *testing.T) {
	rich, lean := feed{0.07, 60, 1, 74, 0.5}, feed{-0.07, 105, 0.4, 118, 0.4}
	var purge []feed
	for at := 40.0; at < 600; at += 55 {
		purge = append(purge, feed{0.07, at, 0.8, at + 13, 0.8})
	}
	asked := func(side analysis.Side) func(*Watcher) {
		return func(w *Watcher) { w.Asked(50*time.Second, side, false) }
	}
	for _, c := range []struct {
		name    string
		feed    []feed
		seconds float64
		before  func(*Watcher)
		want    string
	}{
		{"one change", []feed{rich}, 110, nil, ""},
		{"both sides", []feed{rich, lean}, 150, nil, "rich 61 lean 105"},
		{"again and again", purge, 640, nil, ""},
		{"asked for", []feed{rich}, 110, asked(analysis.Rich), "rich 61"},
		{"the other side asked for", []feed{rich}, 110, asked(analysis.Lean), ""},
	} {
		p := sound()
		p.feed = c.feed
		begun, w := unsaidRun(p, c.seconds, c.before)
		if got := strings.Join(begun, " "); got != c.want {
			t.Errorf("%s: began %q, want %q", c.name, got, c.want)
		}
		v := w.Verdict()
		if forced := v.Conclusion != analysis.NothingForced; forced != (c.want != "") {
			t.Errorf("%s: concludes %s", c.name, v.Conclusion)
		}
	}
}

// The odds of a test fall with the session's length and with what the mixture has done by itself, and two sides weigh more than one.
func TestOddsOfUnsaid(t *testing.T) {
	at := func(side analysis.Side, begin float64) *force {
		return &force{side: side, size: 0.07, span: span{begin: begin, end: begin + 14}, unsaid: unsaid{even: 1}}
	}
	one := func(side analysis.Side) *force { return at(side, 60) }
	odds := func(now float64, own int, set ...*force) float64 {
		w := New(analysis.Config{By: analysis.ByMixture})
		w.now, w.ownSteps = now, own
		return w.odds(set)
	}
	rich, lean := one(analysis.Rich), one(analysis.Lean)
	if a, b := odds(150, 0, rich, lean), odds(150, 0, rich, one(analysis.Rich)); a-b < analysis.OtherSide-analysis.SameSide-1e-9 {
		t.Errorf("both sides %.1f, one twice %.1f", a, b)
	}
	for own := range 10 {
		if a, b := odds(150, own, rich, lean), odds(150, own+1, rich, lean); b >= a {
			t.Errorf("%d steps of its own %.2f, one more %.2f", own, a, b)
		}
	}
	// A step in each minute: an hour of them is far from a test.
	if a := odds(3600, 60, at(analysis.Rich, 3500), at(analysis.Lean, 3560)); a > oneThousand-3 {
		t.Errorf("in an hour's drive %.1f", a)
	}
	rough := one(analysis.Rich)
	rough.even = 0
	if d := rich.looks() - rough.looks(); math.Abs(d+uneven) > 1e-9 {
		t.Errorf("an uneven engine takes %.2f", d)
	}
	// What is read of the car's speed and of its purge valve counts by itself, a valve at rest and a car that stands for nothing: the car steps there by itself too.
	for _, c := range []struct {
		name   string
		road   motion
		vented bool
		cut    bool
		want   float64
	}{
		{"nothing read", speedUnread, false, false, 0},
		{"it stands", standing, false, false, 0},
		{"it moves", moving, false, false, math.Log(analysis.MovingForce)},
		{"the valve moved", speedUnread, true, false, vented},
		{"the fuel was shut off", speedUnread, false, true, shutOff},
	} {
		f := one(analysis.Rich)
		f.road, f.vented, f.cut = c.road, c.vented, c.cut
		if d := f.looks() - rich.looks(); math.Abs(d-c.want) > 1e-9 {
			t.Errorf("%s: %.2f, want %.2f", c.name, d, c.want)
		}
	}
}

// What had gone on for too long to be a force ends some time, by as much as it began with and to the other side; the longer it went on, the less
// it is due to end just now.
func TestEndOfALongChange(t *testing.T) {
	end := &force{side: analysis.Lean, size: 0.07, span: span{begin: 160}}
	for _, c := range []struct {
		name string
		goes goingOn
		want float64 // times a second
	}{
		{"nothing went on", goingOn{}, 0},
		{"it went to the same side", goingOn{analysis.Lean, 60, 0.07}, 0},
		{"it undoes what began 100 s before", goingOn{analysis.Rich, 60, 0.07}, 0.01},
		{"begun long ago", goingOn{analysis.Rich, -840, 0.07}, 0.001},
	} {
		if got := c.goes.undoes(end); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %.4f, want %.4f", c.name, got, c.want)
		}
	}
	if got := (goingOn{analysis.Rich, 60, 0.35}).undoes(end); got > 0.005 {
		t.Errorf("five times as large: %.4f", got)
	}
	w := New(analysis.Config{By: analysis.ByMixture})
	w.now = 300
	due := *end
	due.undoes = 0.01
	if a, b := w.odds([]*force{end}), w.odds([]*force{&due}); a-b < 0.5 {
		t.Errorf("odds %.2f, where it is due to end %.2f", a, b)
	}
}

// An engine that was even for a part of the time counts for that part; one that was not until the end for nothing.
func TestEvenShare(t *testing.T) {
	for _, c := range []struct {
		name string
		rpm  func(t float64) float64
		want float64
	}{
		{"always", func(float64) float64 { return 700 }, 1},
		{"a foot 21 s before", func(t float64) float64 {
			if t < 39 {
				return 2000
			}
			return 700
		}, 0.375},
		{"a foot just before", func(t float64) float64 {
			if t < 59 {
				return 2000
			}
			return 700
		}, 0},
		{"a foot in it", func(t float64) float64 {
			if t > 65 && t < 67 {
				return 2000
			}
			return 700
		}, 0},
	} {
		w := New(analysis.Config{By: analysis.ByMixture})
		for x := 0.0; x < 75; x++ {
			w.rpm.Add(recent.Reading{Lo: x, Hi: x, V: c.rpm(x)})
		}
		if got := w.evenShare(&force{span: span{begin: 60, end: 73}}, evenBefore); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
	}
}
