package recent

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The latest four of eleven.
func TestKeepsTheLatest(t *testing.T) {
	s := New(4)
	for i := range 11 {
		s.Add(Reading{Lo: float64(i), Hi: float64(i), V: float64(10 * i)})
	}
	lo, hi, n := s.Span(8, 9)
	if s.Len() != 4 || s.Gone() != 7 || s.At(0).V != 70 || lo != 80 || hi != 90 || n != 2 || s.From(8.5) != 2 || s.From(99) != 4 {
		t.Errorf("%d readings, %d gone, oldest %v, span %v to %v of %d", s.Len(), s.Gone(), s.At(0), lo, hi, n)
	}
}

// A signal that seldom changes is the same at any time with its changes alone, in less room.
func TestAddChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all, changes := New(512), New(512)
		for i, v := range rapid.SliceOfN(rapid.IntRange(0, 1), 1, 300).Draw(t, "values") {
			r := Reading{Lo: float64(i), Hi: float64(i), V: float64(v)}
			all.Add(r)
			changes.AddChange(r)
		}
		if changes.Len() > all.Len() {
			t.Fatalf("%d of %d kept", changes.Len(), all.Len())
		}
		for at := -1.0; at < 301; at += 0.25 {
			if changes.Line(at) != all.Line(at) || changes.Hold(at, 7) != all.Hold(at, 7) {
				t.Fatalf("at %g: %g and %g, want %g and %g", at, changes.Line(at), changes.Hold(at, 7), all.Line(at), all.Hold(at, 7))
			}
		}
	})
	s := New(8)
	for i := range 99 {
		s.AddChange(Reading{Lo: float64(i), Hi: float64(i), V: 3})
	}
	if s.Len() != 2 || s.At(0).Lo != 0 || s.At(1).Lo != 98 {
		t.Errorf("of one value %d kept, from %g on", s.Len(), s.At(0).Lo)
	}
}

// What lies between readings, before the first and after the last; special cases are: of none the default, or 0.
func TestBetweenReadings(t *testing.T) {
	s, empty := New(64), New(4)
	for _, r := range [][2]float64{{10, 1}, {12, 3}, {13, 3}, {16, 0}} {
		s.Add(Reading{Lo: r[0], Hi: r[0], V: r[1]})
	}
	for _, c := range []struct{ at, line, hold float64 }{{0, 1, 1}, {10, 1, 1}, {11, 2, 1}, {12, 3, 3}, {12.5, 3, 3}, {14.5, 1.5, 3}, {16, 0, 0}, {99, 0, 0}} {
		if l, h := s.Line(c.at), s.Hold(c.at, 7); math.Abs(l-c.line) > 1e-9 || h != c.hold {
			t.Errorf("at %g s: line %g, hold %g; want %g, %g", c.at, l, h, c.line, c.hold)
		}
		if empty.Line(c.at) != 0 || empty.Hold(c.at, 7) != 7 {
			t.Errorf("of none at %g s: %g, %g", c.at, empty.Line(c.at), empty.Hold(c.at, 7))
		}
	}
	if _, some := empty.Last(); some || empty.From(3) != 0 {
		t.Error("an empty one has a reading")
	}
}

// Whatever was added, the ring answers as the end of a plain list does.
func TestIsTheEndOfAList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 12).Draw(t, "size")
		s, all, at := New(size), []Reading(nil), 0.0
		for range rapid.IntRange(0, 40).Draw(t, "n") {
			at += rapid.Float64Range(0, 2).Draw(t, "step") // twice at one time is possible
			r := Reading{Lo: at, Hi: at + 0.1, V: rapid.Float64Range(-1, 1).Draw(t, "v")}
			s.Add(r)
			all = append(all, r)
			s.From(rapid.Float64Range(-1, at+1).Draw(t, "asked")) // what was asked for before changes no answer
		}
		kept := all[max(0, len(all)-size):]
		from, to := rapid.Float64Range(-1, at+1).Draw(t, "from"), rapid.Float64Range(-1, at+1).Draw(t, "to")
		first, want := len(kept), []float64(nil)
		for i := len(kept) - 1; i >= 0 && kept[i].T() >= from; i-- {
			first = i
		}
		for _, r := range kept[first:] {
			if r.T() > to {
				break
			}
			want = append(want, r.V)
		}
		_, _, n := s.Span(from, to)
		if s.Len() != len(kept) || s.Gone() != len(all)-len(kept) || s.From(from) != first || n != len(want) {
			t.Fatalf("%d kept, %d gone, from %d, span of %d; want %d, %d, %d, %d", s.Len(), s.Gone(), s.From(from), n, len(kept), len(all)-len(kept), first, len(want))
		}
		if got := s.Values(nil, from, to); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("values %v, want %v", got, want)
		}
	})
}

func ExampleSeries() {
	s := New(3)
	for i := range 5 {
		s.Add(Reading{Lo: float64(i), Hi: float64(i), V: float64(i * i)})
	}
	newest, _ := s.Last()
	fmt.Println(s.Len(), s.At(0).V, newest.V, s.Line(3.5))
	// Output: 3 4 16 12.5
}
