package bias

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The special cases that the comments promise.
func TestSpecialCases(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		lo, hi float64
		want   []float64
	}{
		{100, 150, []float64{100, 120, 150}},
		{990, 1300, []float64{1000, 1200}},
		{1000, 1000, []float64{1000}},
		{0.9, 1.1, []float64{1}},
		{1e6, 1.2e6, []float64{1e6, 1.2e6}},
		{130, 140, nil},
		{200, 100, nil},
		{0, 100, nil},
		{-10, 100, nil},
		{math.NaN(), 100, nil},
		{10, inf, nil},
	} {
		if got := E12.Between(c.lo, c.hi); !slices.Equal(got, c.want) {
			t.Errorf("E12 from %g to %g: %v, want %v", c.lo, c.hi, got, c.want)
		}
	}
	for _, c := range []struct {
		ohms float64
		want string
	}{{0, "0 Ω"}, {28.57, "28.6 Ω"}, {680, "680 Ω"}, {1000, "1 kΩ"}, {1500, "1.5 kΩ"}, {1e6, "1 MΩ"}, {4.7e6, "4.7 MΩ"}, {inf, "open"}} {
		if got := Ohms(c.ohms); got != c.want {
			t.Errorf("%g Ω is said as %q, want %q", c.ohms, got, c.want)
		}
	}
	for _, name := range []string{"E12", "e24", "E96"} {
		if s, err := ParseSeries(name); err != nil || !strings.EqualFold(s.Name, name) {
			t.Errorf("%s: %v, %v", name, s.Name, err)
		}
	}
	for _, name := range []string{"", "E48", "E 12", "12"} {
		if s, err := ParseSeries(name); err == nil {
			t.Errorf("%q is series %s", name, s.Name)
		}
	}
	if got := groundThrough(0.2, Sensor{"", 0.1, 100}, Computer{Exactly(inf), Exactly(0), Exactly(inf)}); got != inf {
		t.Errorf("a lean cell alone needs a ground of %g Ω", got)
	}
	// Published for raised returns of about 2.5 V: a signal held at the chassis is -2.5 V to the computer.
	if got := Chassis(0, 2.5); got != -2.5 {
		t.Errorf("held at the chassis it reads %g V", got)
	}
}

// The wire lies between the voltages of its legs, rises with each of them, and a smaller ground lets it lie lower.
func TestTheWireLiesBetweenItsLegs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		volts, ohms := rapid.Float64Range(0, 1.5).Draw(t, "volts"), rapid.Float64Range(10, 1e5).Draw(t, "ohms")
		s := Sensor{"", rapid.Float64Range(0.05, 0.95).Draw(t, "cell"), rapid.Float64Range(10, 1e6).Draw(t, "inside")}
		got := Through(volts, ohms, s)
		if lo, hi := min(0, volts), max(volts, s.EMF, UsualComputer.PullVolts.Nom); got < lo-1e-12 || got > hi+1e-12 {
			t.Fatalf("%g V behind %g Ω on %+v is %g V", volts, ohms, s, got)
		}
		if Through(volts+0.1, ohms, s) <= got {
			t.Fatalf("more volts give less than %g V", got)
		}
		if rich := (Sensor{"", s.EMF + 0.05, s.Ohms}); Through(volts, ohms, rich) <= got {
			t.Fatalf("a richer cell gives less than %g V", got)
		}
		want, most := groundThrough(GroundWant, s, UsualComputer), groundThrough(GroundMost, s, UsualComputer)
		if want > most || want <= 0 {
			t.Fatalf("%g Ω for %g V, %g Ω for %g V", want, GroundWant, most, GroundMost)
		}
	})
}

// What Find returns is what was asked for, or an error: made of the series, near the target, and behind a resistance between
// half and twice the wanted one.
func TestFindKeepsItsWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		target, wanted := rapid.Float64Range(0.1, 1.3).Draw(t, "target"), rapid.Float64Range(1, 1e5).Draw(t, "wanted")
		series := rapid.SampledFrom([]Series{E12, E24, E96}).Draw(t, "series")
		d, err := Find(DryCell, target, wanted, series, 0.01, UsualComputer)
		if err != nil {
			return
		}
		volts, behind := d.Open()
		if behind < wanted/2-1e-9 || behind > 2*wanted+1e-9 || math.Abs(volts-target) > 0.12 {
			t.Fatalf("%g V behind %g Ω for %g V behind %g Ω", volts, behind, target, wanted)
		}
		for _, r := range []float64{d.Top, d.Bottom} {
			if len(series.Between(r*0.9999, r*1.0001)) != 1 {
				t.Fatalf("%g Ω is none of %s", r, series.Name)
			}
		}
		wire, _ := d.Worst(OpenBranch, Sound)
		if wire.Lo > wire.Nom || wire.Nom > wire.Hi {
			t.Fatalf("%+v", wire)
		}
	})
	for _, c := range []struct{ target, wanted float64 }{{0, 1000}, {-1, 1000}, {1.35, 1000}, {2, 1000}, {0.9, 0.5}, {0.9, 2e5}, {math.NaN(), 1000}, {0.9, math.NaN()}} {
		if d, err := Find(DryCell, c.target, c.wanted, E24, 0.01, UsualComputer); err == nil {
			t.Errorf("%g V behind %g Ω: %+v", c.target, c.wanted, d)
		}
	}
}

// What is allowed but must be minded: each caution comes where its reason is there, and not where it is not.
func TestCautions(t *testing.T) {
	soldered := Design{Supply: DryCell, Series: E24, Tolerance: 0.01, Top: 1000, Bottom: 1800, Computer: UsualComputer}
	weak, strong := soldered, soldered
	weak.Top, weak.Bottom = 1500, 1500       // 0.75 V at best
	strong.Supply = Bench(0.95, 0.01)        // cannot go above what a wire may have, even with the joint broken
	strong.Top, strong.Bottom = 200, 1000000 // and behind 200 Ω only
	for _, c := range []struct {
		name                 string
		d                    Design
		least, joint, branch bool
	}{
		{"a dry cell", soldered, false, true, true},
		{"one that gives too little", weak, true, true, true},
		{"a supply below what a wire may have", strong, false, false, true},
	} {
		wire, _ := c.d.Worst(OpenBranch, Sound)
		broken, _ := c.d.Worst(OpenBranch, BottomOpen)
		if (wire.Lo < MinRich) != c.least || (broken.Hi > maxWire) != c.joint {
			t.Errorf("%s: %+v, broken %+v", c.name, wire, broken)
		}
		n := 0
		for _, is := range []bool{c.least, c.joint, c.branch} {
			if is {
				n++
			}
		}
		if got := c.d.Cautions(); len(got) != n {
			t.Errorf("%s: %v, want %d", c.name, got, n)
		}
	}
}
