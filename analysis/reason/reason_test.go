package reason

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pushback/analysis/hazard"
)

// A reason that is made from another leaves that one as it was.
func TestReasonsDoNotShare(t *testing.T) {
	base := slices.Grow(Code("a").Of(1).And("b", 2), 4) // with room to share
	first, second := base.And("c", 3), base.And("d", 4)
	if len(base) != 2 || first[2].Code != "c" || second[2].Code != "d" {
		t.Errorf("%v, then %v and %v", base, first, second)
	}
	x, y := base.Then(Code("e").Of()), base.Then(Code("f").Of())
	if x[2].Code != "e" || y[2].Code != "f" || len(base) != 2 {
		t.Errorf("%v and %v", x, y)
	}
	wire, road := base.With(hazard.Wire), base.With(hazard.Road)
	if len(base[1].Hazards) != 0 || !slices.Equal(wire[1].Hazards, []hazard.Kind{hazard.Wire}) || !slices.Equal(road[1].Hazards, []hazard.Kind{hazard.Road}) {
		t.Errorf("%v, with a hazard %v and %v", base, wire, road)
	}
	wire[1].Hazards = slices.Grow(wire[1].Hazards, 4)
	both, other := wire.With(hazard.Road), wire.With(hazard.Heater)
	if !slices.Equal(other[1].Hazards, []hazard.Kind{hazard.Wire, hazard.Heater}) || !slices.Equal(both[1].Hazards, []hazard.Kind{hazard.Wire, hazard.Road}) || len(wire[1].Hazards) != 1 {
		t.Errorf("%v, then %v", wire, both)
	}
}

func TestReasonCases(t *testing.T) {
	a, b := Code("a").Of(1), Code("b").Of()
	for _, c := range []struct {
		name string
		got  Reason
		want []Code
	}{
		{"one", a, []Code{"a"}},
		{"and", a.And("c"), []Code{"a", "c"}},
		{"then", a.Then(b), []Code{"a", "b"}},
		{"then nothing", a.Then(nil), []Code{"a"}},
		{"nothing, then", Reason(nil).Then(b), []Code{"b"}},
		{"because", a.For(b), []Code{"a", Because, "b"}},
		{"because of nothing", a.For(nil), []Code{"a"}},
		{"nothing with a hazard", Reason(nil).With(hazard.Wire), nil},
	} {
		var got []Code
		for _, x := range c.got {
			got = append(got, x.Code)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
		for _, code := range []Code{"a", "b", "c", Because} {
			if c.got.Has(code) != slices.Contains(c.want, code) {
				t.Errorf("%s: has %s: %v", c.name, code, c.got.Has(code))
			}
		}
	}
}

// Two reasons come to the same where code, figures and hazards do; a figure that is one less is another.
func TestSame(t *testing.T) {
	one := Code("a").Of(1.5, Interval{1, 2})
	for _, c := range []struct {
		name  string
		other Reason
		want  bool
	}{
		{"itself", one, true},
		{"made anew", Code("a").Of(1.5, Interval{1, 2}), true},
		{"another figure", Code("a").Of(1.6, Interval{1, 2}), false},
		{"another end of a time", Code("a").Of(1.5, Interval{1, 3}), false},
		{"of another type", Code("a").Of(Chance(1.5), Interval{1, 2}), false},
		{"another code", Code("b").Of(1.5, Interval{1, 2}), false},
		{"with a hazard", one.With(hazard.Wire), false},
		{"with more", one.And("b"), false},
		{"nothing", nil, false},
	} {
		if one.Same(c.other) != c.want || c.other.Same(one) != c.want {
			t.Errorf("%s: %v", c.name, one.Same(c.other))
		}
	}
	if !Reason(nil).Same(nil) || !Reason(nil).Same(Reason{}) {
		t.Error("nothing is not nothing")
	}
}

// The special cases of the JSON: nothing is an empty text, what was not told cannot be written, and what was read is what was written.
func TestReasonInJSON(t *testing.T) {
	for _, c := range []struct {
		r    Reason
		want string // "": it cannot be written
	}{
		{nil, `""`},
		{Reason{}, `""`},
		{Told.Of("the wire"), `"the wire"`},
		{Told.Of(""), `""`},
		{Code("a").Of(1), ""},
		{Told.Of("the wire").And("a"), ""},
	} {
		got, err := json.Marshal(c.r)
		if (err != nil) != (c.want == "") || err == nil && string(got) != c.want {
			t.Errorf("%v: %s, %v; want %s", c.r, got, err, c.want)
		}
	}
	for _, bad := range []string{`1`, `{}`, `["a"]`, `"open`} {
		r := Told.Of("before")
		if err := json.Unmarshal([]byte(bad), &r); err == nil {
			t.Errorf("%s is read as %v", bad, r)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		line, err := json.Marshal(Told.Of(text))
		if err != nil {
			t.Fatal(err)
		}
		back := Told.Of("what was there before")
		if err := json.Unmarshal(line, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil || string(again) != string(line) || (len(back) == 0) != (text == "") {
			t.Fatalf("%q became %s, then %v, then %s (%v)", text, line, back, again, err)
		}
	})
}

// A code with its figures, and what asks for it. The sentences stand elsewhere.
func ExampleReason_For() {
	r := Code("hold_longer").Of(25).For(Code("trim_little").Of(3.1))
	for _, c := range r {
		fmt.Println(c.Code, c.Figures)
	}
	// Output:
	// hold_longer [25]
	// because []
	// trim_little [3.1]
}
