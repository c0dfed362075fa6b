package trimmap

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pushback/analysis/reason"
)

// What is asked for next, by what was driven: a condition counts as driven with fifteen readings, a second apart, within a factor of
// 1.8 of its air flow. The flows are those of an engine of constant filling, 1 g/s at 10000 rpm·%: idle 2, 1500 rpm 3, 2500 rpm 5,
// the cruise 10, a pull 21.45.
func TestNextCondition(t *testing.T) {
	type drove struct {
		n    int
		flow float64
	}
	for _, c := range []struct {
		name  string
		drove []drove
		want  string // "": nothing is left
		near  int
	}{
		{"nothing", nil, "map_idle", 0},
		{"too little to tell how air goes with speed and load", []drove{{19, 2}}, "map_idle", 0},
		{"idle, which draws about as much as 1500 rpm", []drove{{20, 2}}, "map_2500", 0},
		{"and some of 2500", []drove{{20, 2}, {14, 5}}, "map_2500", 14},
		{"and enough of it", []drove{{20, 2}, {15, 5}}, "map_cruise", 0},
		{"some way to the cruise", []drove{{20, 2}, {15, 5}, {3, 5.5}, {4, 5.6}}, "map_cruise", 4},
		{"the cruise", []drove{{20, 2}, {15, 5}, {15, 10}}, "map_pull", 0},
		{"all", []drove{{20, 2}, {15, 5}, {15, 10}, {15, 21}}, "", 0},
		{"a pull alone: idle first", []drove{{20, 21}}, "map_idle", 0},
		{"all but idle", []drove{{20, 5}, {15, 10}, {15, 21}}, "map_idle", 0},
	} {
		var all []Reading
		at := 0.0
		for _, d := range c.drove {
			for range d.n {
				all = append(all, Reading{At: at, Bank: 1, RPM: 2000, Load: d.flow * 5, Flow: d.flow},
					Reading{At: at + 0.4, Bank: 1, RPM: 2000, Load: d.flow * 5, Flow: d.flow}, // a fast bus
					Reading{At: at, Bank: 2, RPM: 800, Load: 25, Flow: 2})
				at++
			}
		}
		got, near, more := nextCondition(Data{Readings: slices.Values(all)}, 1)
		if c.name == "too little to tell how air goes with speed and load" {
			all = slices.DeleteFunc(all, func(r Reading) bool { return r.At != math.Trunc(r.At) })
			got, near, more = nextCondition(Data{Readings: slices.Values(all)}, 1)
		}
		if more != (c.want != "") || got.name != c.want || near != c.near {
			t.Errorf("%s: %q with %d readings, more %v; want %q with %d", c.name, got.name, near, more, c.want, c.near)
		}
	}
}

// What two banks say together, by hand: opposite limits are beyond 15 % wherever it was driven and known to half of that; a bank that
// draws less cuts the more, the more flows, while the other adds as much. Which of the two is bank 1 does not matter.
func TestPairOf(t *testing.T) {
	wide := func(f Fit, half float64) Fit {
		for _, i := range []*Interval{&f.AtLow, &f.AtMid, &f.AtHigh} {
			*i = around(i.Value, half)
		}
		return f
	}
	for _, c := range []struct {
		name       string
		cuts, adds Fit
		want       Together
	}{
		{"at opposite limits", fitted(Full, -24, -24, -24, 1), fitted(Full, 24, 24, 24, 1), Opposite},
		{"at one air flow", fitted(LevelOnly, -24, -24, -24, 1), fitted(LevelOnly, 24, 24, 24, 1), Opposite},
		{"both beyond 15 %", fitted(Full, -15.1, -16, -16, 1), fitted(Full, 15.1, 16, 16, 1), Opposite},
		{"one of them not quite", fitted(Full, -15, -16, -16, 1), fitted(Full, 15.1, 16, 16, 1), ""},
		{"not known well enough", wide(fitted(Full, -16, -16, -16, 1), 9), wide(fitted(Full, 16, 16, 16, 1), 9), ""},
		{"one restricted", fitted(Full, -1, -3, -8, 1), fitted(Full, 1, 3, 8, 1), Restricted},
		{"a short range shows it too", fitted(Falling, -1, -3, -8, 1), fitted(Falling, 1, 3, 8, 1), Restricted},
		{"one air flow does not", fitted(LevelOnly, -1, -3, -8, 1), fitted(LevelOnly, 1, 3, 8, 1), ""},
		{"apart, but not the farther the more flows", fitted(Full, -6, -7, -8, 1), fitted(Full, 6, 7, 8, 1), ""},
		{"one side alone", fitted(Full, 0, 0, 0, 1), fitted(Full, 1, 3, 8, 1), ""},
		{"both cut", fitted(Full, -1, -3, -8, 1), fitted(Full, -1, -2, -7, 1), ""},
		{"too little at load", fitted(Full, -0.5, -2, -4.9, 1), fitted(Full, 0.5, 2, 4.9, 1), ""},
		{"one was not read", Fit{Model: NoModel}, fitted(Full, 24, 24, 24, 1), ""},
	} {
		for _, swapped := range []bool{false, true} {
			banks := []Result{{Bank: 1, Fit: c.cuts}, {Bank: 2, Fit: c.adds}}
			if swapped {
				banks = []Result{{Bank: 1, Fit: c.adds}, {Bank: 2, Fit: c.cuts}}
			}
			got := pairOf(banks, "g/s")
			if got == nil && c.want != "" || got != nil && got.Name != c.want {
				t.Errorf("%s, swapped %v: %+v, want %q", c.name, swapped, got, c.want)
			}
			if bank := 1 + map[bool]int{true: 1}[swapped]; got != nil && got.Name == Restricted && got.Bank != bank {
				t.Errorf("%s, swapped %v: bank %d is restricted, want %d", c.name, swapped, got.Bank, bank)
			}
		}
		if got := pairOf([]Result{{Bank: 1, Fit: c.cuts}}, "g/s"); got != nil {
			t.Errorf("%s: one bank alone says %+v", c.name, got)
		}
	}
}

// What purge does to trim at idle, and what that says: vapour is the reason of a cut only where the cut goes as the valve shuts.
func TestPurgeSays(t *testing.T) {
	for _, c := range []struct {
		name       string
		open, shut float64
		pattern    Pattern
		want       reason.Code
	}{
		{"it makes no difference, and all is usual", 1, 0, Normal, reason.PurgeNothing},
		{"fuel, within what is usual", -6, 0, Normal, reason.PurgeFuel},
		{"fuel, and the map cuts at idle", -6, 0, CutsAtIdle, reason.PurgeIsIt},
		{"fuel, beyond what is usual", -9, 0, Normal, reason.PurgeIsIt},
		{"fuel, but it cuts with the valve shut too", -16, -9, CutsAtIdle, reason.PurgeFuel},
		{"it cuts all the same", -12, -11, CutsAll, reason.PurgeIsNot},
		{"air", 5, 0, Normal, reason.PurgeAir},
		{"four per cent is nothing yet", -4, 0, Normal, reason.PurgeNothing},
		{"nor the other way", 4, 0, Normal, reason.PurgeNothing},
	} {
		of := func(mean float64, n int) part { return part{n: n, sum: mean * float64(n)} }
		x := purges{open: of(c.open, perThird), shut: of(c.shut, perThird)}.purge(c.pattern)
		if x == nil || x.Open != c.open || x.Shut != c.shut || !x.Says.Has(c.want) {
			t.Errorf("%s: %+v, want %s", c.name, x, c.want)
		}
		if (purges{open: of(c.open, perThird-1), shut: of(c.shut, 99)}).purge(c.pattern) != nil || (purges{open: of(c.open, 99), shut: of(c.shut, perThird-1)}).purge(c.pattern) != nil {
			t.Errorf("%s: said of fewer than %d readings", c.name, perThird)
		}
	}
}

// A map does not depend on when it was driven, nor on what the other bank read.
func TestFitStandsAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shift := rapid.Float64Range(0, 30000).Draw(t, "shift")
		trim := rapid.SliceOfN(rapid.Float64Range(-20, 20), 60, 60).Draw(t, "trim")
		var one, both []Reading
		for i, v := range trim {
			r := Reading{At: float64(i), Bank: 1, Short: v, Flow: 3 * math.Pow(6, float64(i%12)/11), RPM: 900 + 200*float64(i%12), Load: 30}
			one = append(one, r)
			r.At += math.Trunc(shift)
			other := r
			other.Bank, other.Short, other.Flow = 2, -v, 4
			both = append(both, r, other)
		}
		a, b := FitBank(slices.Values(one), 1), FitBank(slices.Values(both), 1)
		for _, p := range [][2]Interval{{a.A, b.A}, {a.B, b.B}, {a.C, b.C}, {a.AtLow, b.AtLow}, {a.AtHigh, b.AtHigh}, {a.Falls, b.Falls}} {
			if d := math.Abs(p[0].Value-p[1].Value) + math.Abs(p[0].Lo-p[1].Lo) + math.Abs(p[0].Hi-p[1].Hi); d > 1e-6 {
				t.Fatalf("%+v, later and beside another bank %+v", a, b)
			}
		}
		cells, later := of(one, 1).cells(), of(both, 1).cells()
		n := 0
		for i, c := range cells {
			if n += c.Count; i >= len(later) || later[i].Count != c.Count || math.Abs(later[i].Mean-c.Mean) > 1e-9 || c.P10 > c.P90 || c.Thin != later[i].Thin {
				t.Fatalf("%+v, later %+v", cells, later)
			}
		}
		if n != len(trim) || len(later) != len(cells) {
			t.Fatalf("%d readings in %d cells, %d read", n, len(cells), len(trim))
		}
	})
}
