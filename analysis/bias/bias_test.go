package bias

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pushback/analysis/reason"
)

// Values as printed in IEC 60063 (from memory), some of each series; E96 holds 4.99
// and 9.76, E24 the irregular 2.7 to 4.7.
func TestSeries(t *testing.T) {
	for _, tt := range []struct {
		s    Series
		n    int
		some []float64
	}{
		{E12, 12, []float64{100, 270, 330, 470, 820}},
		{E24, 24, []float64{110, 270, 300, 330, 430, 470, 910}},
		{E96, 96, []float64{102, 147, 215, 316, 499, 590, 750, 976}},
	} {
		got := tt.s.Between(100, 999)
		if len(got) != tt.n {
			t.Errorf("%s has %d values in a decade", tt.s.Name, len(got))
		}
		for _, v := range tt.some {
			found := false
			for _, g := range got {
				found = found || g == v
			}
			if !found {
				t.Errorf("%s lacks %v: %v", tt.s.Name, v, got)
			}
		}
	}
}

// A divider worked by Ohm's law: 1.0 kΩ over 1.5 kΩ from 1.5 V, 0.90 V behind 600 Ω; a connected hot cell (0.1 V, 100 Ω) pulls it to 0.21 V, and
// one of 60 Ω to 0.60 V (by hand).
func TestByHand(t *testing.T) {
	d, err := Find(DryCell, 0.9, 600, E12, E12.Tolerance, UsualComputer)
	if err != nil {
		t.Fatal(err)
	}
	if v, r := d.Open(); d.Top != 1000 || d.Bottom != 1500 || math.Abs(v-0.9) > 1e-9 || math.Abs(r-600) > 1e-9 {
		t.Errorf("found %v over %v: %v V behind %v Ω", d.Top, d.Bottom, v, r)
	}
	free := Computer{Exactly(math.Inf(1)), Exactly(0), Exactly(math.Inf(1))}
	for _, tt := range []struct{ top, bottom, want float64 }{{1000, 1500, 0.2143}, {100, 150, 0.6}} {
		d := Design{Supply: DryCell, Top: tt.top, Bottom: tt.bottom, Computer: free}
		if got := d.Nominal(Sensor{"", 0.1, 100}).Solve(Sound).Wire; math.Abs(got-tt.want) > 1e-4 {
			t.Errorf("%v over %v with a hot lean cell: %.4f V, want %.4f", tt.top, tt.bottom, got, tt.want)
		}
	}
	// A meter of 10 MΩ reads 0.45 V · 10/14 = 0.32 V of a 0.45 V bias behind 4 MΩ (Ohm's law).
	meter := Values{Source: 1.5, Top: 1, Bottom: 1, SensorOhms: math.Inf(1), Input: 10e6, PullVolts: 0.45, PullOhms: 4e6}
	if got := meter.Solve(SignalSlip).Wire; math.Abs(got-0.32) > 0.005 {
		t.Errorf("the meter reads %.3f V", got)
	}
}

func TestRefusals(t *testing.T) {
	find := func(s Supply, target, wanted float64) Design {
		d, err := Find(s, target, wanted, E24, 0.05, UsualComputer)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	clipped := find(DryCell, 0.9, 600)
	clipped.Clipped = true
	for _, tt := range []struct {
		what string
		d    Design
		why  reason.Code // "" allowed
		when any         // the first figure; nil any
	}{
		{"dry cell", find(DryCell, 0.9, 600), "", nil},
		{"a supply of 1.5 V", find(Bench(1.5, 0.05), 0.9, 600), "", nil},
		{"5 V supply, 5 %", find(Bench(5, 0.05), 0.9, 1000), reason.WireAbove, BottomOpen},
		{"two dry cells", find(Bench(3, 0.1), 0.9, 1000), reason.WireAbove, BottomOpen},
		{"low source resistance", find(DryCell, 0.9, 60), reason.PushesCurrent, nil},
		{"too high a target", find(DryCell, 1.1, 600), reason.WireWorst, nil},
		{"lower resistor in clips", clipped, reason.WireAbove, BottomOpen},
		{"the car's battery", find(Bench(12.6, 0.15), 0.9, 1000), reason.CarsOwnSupply, nil},
		{"a 9 V battery", find(Bench(9, 0.1), 0.9, 1000), reason.CarsOwnSupply, nil},
	} {
		got := tt.d.Refusals()
		named := slices.ContainsFunc(got, func(r reason.Reason) bool {
			return r.Has(tt.why) && (tt.when == nil || r[0].Figures[0] == tt.when)
		})
		if (tt.why == "") != (len(got) == 0) || tt.why != "" && !named {
			t.Errorf("%s (%v over %v): refused for %v, want %s", tt.what, tt.d.Top, tt.d.Bottom, got, tt.why)
		}
	}
}

// Whatever is allowed stays within the limits for values drawn anywhere within the
// ranges, not only at the corners that Worst looks at.
func TestAllowedStaysWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		series := rapid.SampledFrom([]Series{E12, E24, E96}).Draw(t, "series")
		supply := DryCell
		if rapid.Bool().Draw(t, "bench") {
			supply = Bench(rapid.Float64Range(1.2, 1.7).Draw(t, "volts"), 0.05)
		}
		d, err := Find(supply, rapid.Float64Range(0.5, 1.1).Draw(t, "target"), rapid.Float64Range(100, 5000).Draw(t, "wanted"), series, series.Tolerance, UsualComputer)
		if err != nil || len(d.Refusals()) > 0 {
			t.Skip()
		}
		in := func(name string, r Range) float64 { return rapid.Float64Range(r.Lo, r.Hi).Draw(t, name) }
		v := Values{Source: in("source", d.Supply.Volts), Top: in("top", within(d.Top, d.Tolerance)), Bottom: in("bottom", within(d.Bottom, d.Tolerance)),
			SensorOhms: math.Inf(1), Input: in("input", d.Computer.Input), PullVolts: in("pull", d.Computer.PullVolts), PullOhms: in("through", d.Computer.PullOhms)}
		for _, f := range append([]Fault{Sound}, Faults...) {
			limit := maxWire
			if f == BottomOpen || f == TopShort {
				limit = maxBroken
			}
			if s := v.Solve(f); s.Wire > limit || s.Wire < -maxWire {
				t.Fatalf("%v: %.3f V on the wire", f, s.Wire)
			}
		}
	})
}

// A ground of exactly the resistance that groundThrough gives must hold the wire at
// the limit, by the same node with the ground as its source.
func TestGround(t *testing.T) {
	for _, g := range Grounds(UsualComputer) {
		for _, tt := range []struct{ limit, ohms float64 }{{GroundWant, g.Want}, {GroundMost, g.Most}} {
			legs := []leg{{0, tt.ohms}, {g.Sensor.EMF, g.Sensor.Ohms}, {UsualComputer.PullVolts.Hi, UsualComputer.PullOhms.Lo}, {0, UsualComputer.Input.Hi}}
			if got := node(legs...); math.Abs(got-tt.limit) > 1e-9 {
				t.Errorf("%s: %v Ω gives %.4f V, not %.2f V", g.Sensor.State, tt.ohms, got, tt.limit)
			}
		}
	}
	// Worked by hand: 0.9 V behind 100 Ω down to 0.20 V takes 7 mA: 28.6 Ω.
	free := Computer{Exactly(math.Inf(1)), Exactly(0), Exactly(math.Inf(1))}
	if got := groundThrough(0.2, Sensor{"", 0.9, 100}, free); math.Abs(got-28.5714) > 1e-3 {
		t.Errorf("got %v Ω", got)
	}
}
