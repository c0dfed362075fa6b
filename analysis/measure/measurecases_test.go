package measure

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/scripttest"
	"pushback/decode"
)

// collected is a collector of bank 1 that took what scripts say, "SIGNAL script", later by so many seconds.
func collected(t *testing.T, later float64, scripts ...string) *Collector {
	t.Helper()
	c := NewCollector(1)
	for _, x := range scripttest.Merge(t, scripts...) {
		at := x.At + time.Duration(later*float64(time.Second))
		c.Add(decode.Sample{Sent: at, Received: at, Value: x.Value, Signal: &decode.Signal{Name: x.Name}})
	}
	return c
}

// How two banks answered one force, by hand. Of propane the one that moved less is set against the other: below three quarters is
// less, below a quarter none. Of two wires held 5 s apart each bank's trim must leave where it hunted when its own wire was held.
func TestLikeness(t *testing.T) {
	nan := math.NaN()
	bank := func(held, moved, lo, hi float64) BankMoved {
		return BankMoved{Held: held, Moved: moved, AfterMin: lo, AfterMax: hi}
	}
	for _, c := range []struct {
		name       string
		wire       bool
		own, other BankMoved
		want       Likeness
	}{
		{"propane: both", false, bank(20, -6, 1, 1.2), bank(20, -5, 1, 1.3), Alike},
		{"propane: three quarters", false, bank(20, -8, 1, 1.2), bank(20, -6, 1, 1.3), Alike},
		{"propane: a little less than that", false, bank(20, -8, 1, 1.2), bank(20, -5.9, 1, 1.3), OneLess},
		{"propane: a quarter", false, bank(20, -8, 1, 1.2), bank(20, -2, 1, 1.3), OneLess},
		{"propane: below that", false, bank(20, -8, 1, 1.2), bank(20, -1.9, nan, nan), OneSilent},
		{"propane: the other way is none either", false, bank(20, -8, 1, 1.2), bank(20, 4, nan, nan), OneSilent},
		{"propane: neither by enough", false, bank(20, -2.9, 1, 1.2), bank(20, -0.5, nan, nan), NotTold},
		{"propane: just enough", false, bank(20, -3, 1, 1.2), bank(20, -0.5, nan, nan), OneSilent},
		{"propane: it drifted, and left no range", false, bank(20, -8, nan, nan), bank(20, -1, nan, nan), NotTold},

		{"wires: each its own", true, bank(20, 9, 0.8, 1), bank(25, 9, 0.7, 1), EachItsOwn},
		{"wires: each the other's", true, bank(20, 9, 5.8, 6), bank(25, 9, -4.2, -4), Crossed},
		{"wires: the first answers only when the second is held", true, bank(20, 9, 5.8, 6), bank(25, 9, 0.7, 1), NotTold},
		{"wires: both at the first", true, bank(20, 9, 0.8, 1), bank(25, 9, -4.2, -4), NotTold},
		{"wires: between two readings that far apart it cannot be told", true, bank(20, 9, 0.5, 6), bank(25, 9, -4.5, 1), NotTold},
		{"wires: nor where that was the first one's alone", true, bank(20, 9, 0.5, 5.5), bank(25, 9, 0.7, 1), NotTold},
		{"wires: held at one time", true, bank(20, 9, 0.8, 1), bank(21.9, 9, 0.7, 1), NotTold},
		{"wires: the other one does not answer", true, bank(20, 9, 0.8, 1), bank(25, 0, nan, nan), NotTold},
	} {
		b := Both{Wire: c.wire, Rich: !c.wire, Banks: [2]BankMoved{c.own, c.other}}
		if got := b.like(); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if b.Banks[0], b.Banks[1] = b.Banks[1], b.Banks[0]; b.like() != c.want { // whichever is watched
			t.Errorf("%s, the other bank watched: %s, want %s", c.name, b.like(), c.want)
		}
	}
}

// The rise of a snap is the shortest that was read, from at most 0.3 V to at least 0.6 V; between two readings it took less than they
// lie apart, and perhaps nothing.
func TestRise(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name, volts    string
		least, longest float64
	}{
		{"none", "0s..2s/100ms 0.1", nan, nan},
		{"it falls", "0s..1s/100ms 0.9->0.1", nan, nan},
		{"it stops on the way", "0s 0.1; 0.1s 0.4; 0.2s 0.55; 0.3s 0.2", nan, nan},
		{"between two readings", "0s 0.1; 0.1s 0.8", 0, 0.1},
		{"one on the way", "0s 0.1; 0.1s 0.45; 0.2s 0.8", 0, 0.2},
		{"three on the way", "0s 0.1; 0.1s 0.35; 0.2s 0.45; 0.3s 0.55; 0.4s 0.8", 0.2, 0.4},
		{"from just 0.3 to just 0.6", "0s 0.3; 0.1s 0.6", 0, 0.1},
		{"the quicker of two", "0s 0.1; 0.1s 0.35; 0.2s 0.45; 0.3s 0.55; 0.4s 0.8; 1s 0.1; 1.1s 0.8", 0, 0.1},
		{"the quicker came first", "0s 0.1; 0.1s 0.8; 1s 0.1; 1.1s 0.35; 1.2s 0.45; 1.3s 0.55; 1.4s 0.8", 0, 0.1},
		{"it lay low, and the last low reading counts", "0s..1s/100ms 0.1; 1.1s 0.8", 0, 0.1},
	} {
		var in []reading
		for _, p := range scripttest.Points(t, c.volts) {
			in = append(in, reading{float32(p.At), float32(p.Value)})
		}
		s := Snap{RiseMin: nan, RiseMax: nan}
		s.rise(in)
		near := func(got, want float64) bool {
			return math.Abs(got-want) < 1e-5 || math.IsNaN(got) && math.IsNaN(want)
		}
		if !near(s.RiseMin, c.least) || !near(s.RiseMax, c.longest) {
			t.Errorf("%s: %.3f to %.3f s, want %.3f to %.3f", c.name, s.RiseMin, s.RiseMax, c.least, c.longest)
		}
		if math.IsNaN(c.longest) && (s.Quick() || s.Slow()) {
			t.Errorf("%s: quick or slow", c.name)
		}
	}
}

// A snap is slow or quick only where its interval lies to one side of 0.1 s, and enough was read.
func TestSnapSpeaks(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		s           Snap
		quick, slow bool
	}{
		{Snap{Shown: true, RiseMin: 0, RiseMax: 0.1}, true, false},
		{Snap{Shown: true, RiseMin: 0.05, RiseMax: 0.15}, false, false},
		{Snap{Shown: true, RiseMin: 0.1, RiseMax: 0.2}, false, false},
		{Snap{Shown: true, RiseMin: 0.11, RiseMax: 0.2}, false, true},
		{Snap{RiseMin: 0, RiseMax: 0.05}, false, false},
		{Snap{RiseMin: 0.3, RiseMax: 0.4}, false, false},
		{Snap{Shown: true, RiseMin: nan, RiseMax: nan}, false, false},
	} {
		if c.s.Quick() != c.quick || c.s.Slow() != c.slow {
			t.Errorf("%+v: quick %v, slow %v", c.s, c.s.Quick(), c.s.Slow())
		}
	}
}

// A flow of air that is too little for the engine means three things, by what trim does about it: unmetered air came in (it adds), none
// did, or the trims contradict. The edges are those of Filling.
func TestFillsAtItsEdges(t *testing.T) {
	for _, c := range []struct {
		share, trim float64
		want        Filling
	}{
		{0.70, 0, Fills}, {0.70, 30, Fills}, {1.10, 0, Fills}, {1.11, 0, Overfull}, {1.5, -20, Overfull},
		{0.69, 0, ChokedAir}, {0.69, 8, ChokedAir}, {0.69, -8, ChokedAir}, {0.69, 8.1, MeterLow}, {0.3, 25, MeterLow}, {0.69, -8.1, Uncertain},
	} {
		if got := fills(c.share, c.trim); got != c.want {
			t.Errorf("%g of a full cylinder, trim %+g %%: %s, want %s", c.share, c.trim, got, c.want)
		}
	}
}

// A pull in the mountains: at 1500 m the air has 84.56 kPa (U.S. Standard Atmosphere, 1976), so the engine that draws 138 g/s at the
// sea draws 115 g/s there, and fills as well. Without a reading of the outside pressure it seems to fill less.
func TestBreathingAtAltitude(t *testing.T) {
	const idle, pull = "RPM 0s..10s/500ms 700; 20s..24s/500ms 5000", "LOAD_PCT 0s..10s/500ms 20; 20s..24s/500ms 95"
	const flow, trims = "MAF 0s..10s/500ms 3; 20s..24s/500ms 115.17", "SHRTFT1 0s..10s/500ms 1; 20s..24s/500ms 0"
	for _, c := range []struct {
		name    string
		scripts []string
		holds   []Hold
		litres  float64
		share   float64 // 0: nothing is said
	}{
		{"outside pressure read", []string{idle, pull, flow, "IAT 0s 25", "BARO 0s 84.56", trims}, nil, 3.5, 138 / 172.7},
		{"not read", []string{idle, pull, flow, "IAT 0s 25", trims}, nil, 3.5, 138 / 172.7 * 84.56 / 101.325},
		{"nor how warm the air is: 25 °C", []string{idle, pull, flow, "BARO 0s 84.56", trims}, nil, 3.5, 138 / 172.7},
		{"nobody said how large the engine is", []string{idle, pull, flow, "BARO 0s 84.56", trims}, nil, 0, 0},
		{"no air meter", []string{idle, pull, "BARO 0s 84.56", trims}, nil, 3.5, 0},
		{"below 2000 rpm is no pull", []string{strings.ReplaceAll(idle, "5000", "1999"), pull, flow, trims}, nil, 3.5, 0},
		{"nor is half load", []string{idle, strings.ReplaceAll(pull, "95", "79"), flow, trims}, nil, 3.5, 0},
		{"full pressure is load too", []string{idle, flow, "MAP 0s..10s/500ms 30; 20s..24s/500ms 72", "BARO 0s 84.56", trims}, nil, 3.5, 138 / 172.7},
		{"the trim was forced all the time", []string{idle, pull, flow, "BARO 0s 84.56", trims}, []Hold{{From: 0, To: 9}}, 3.5, 0},
	} {
		b := collected(t, 0, c.scripts...).Breathing(c.holds, c.litres)
		switch {
		case b == nil && c.share > 0 || b != nil && c.share == 0:
			t.Errorf("%s: %+v", c.name, b)
		case b != nil && math.Abs(b.Share-c.share) > 0.002:
			t.Errorf("%s: fills to %.3f, want %.3f", c.name, b.Share, c.share)
		}
	}
}

// Trim's answer to flows: a loop that moves by a share of what it should has that share as its slope, whatever the flows were, and the
// farthest point from the line is how far it is from one. Two flows within a tenth are one.
func TestLine(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name       string
		all        []Propane
		flows      int // 0: no line
		slope, off float64
	}{
		{"none", nil, 0, 0, 0},
		{"one", []Propane{{Litres: 0.3, Expected: -6, Moved: -6}}, 0, 0, 0},
		{"one, twice", []Propane{{Litres: 0.3, Expected: -6, Moved: -6}, {Litres: 0.32, Expected: -6.4, Moved: -6}}, 0, 0, 0},
		{"two", []Propane{{Litres: 0.3, Expected: -6, Moved: -3}, {Litres: 0.6, Expected: -12, Moved: -6}}, 2, 0.5, 0},
		{"what is not known does not count", []Propane{{Litres: 0.3, Expected: -6, Moved: -6}, {Expected: nan, Moved: -12}}, 0, 0, 0},
		{"by hand: (6·6 + 12·9)/(36 + 144) = 0.8; 1.2 and 0.6 off", []Propane{{Litres: 0.3, Expected: -6, Moved: -6}, {Litres: 0.6, Expected: -12, Moved: -9}}, 2, 0.8, 1.2},
	} {
		l := line(c.all)
		if l == nil && c.flows > 0 || l != nil && (l.Flows != c.flows || math.Abs(l.Slope-c.slope) > 1e-9 || math.Abs(l.Off-c.off) > 1e-9) {
			t.Errorf("%s: %+v, want %d flows, slope %g, %g off", c.name, l, c.flows, c.slope, c.off)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.Float64Range(-0.5, 1.5).Draw(t, "share")
		var all []Propane
		for i := range rapid.IntRange(2, 6).Draw(t, "flows") {
			litres := 0.2 * math.Pow(1.3, float64(i))
			want := 100 * Settles(PropaneShare(litres, 2.5))
			all = append(all, Propane{Litres: litres, Expected: want, Moved: share * want})
		}
		if l := line(all); l == nil || l.Flows != len(all) || math.Abs(l.Slope-share) > 1e-9 || l.Off > 1e-9 {
			t.Fatalf("a share of %g: %+v", share, l)
		}
	})
}

// What is read while the purge valve opens or shuts is marked; a valve that trembles is not.
func TestPurgeMovesInAHold(t *testing.T) {
	const trims, air = "SHRTFT1 0s..20s/250ms 2; 21s..40s/250ms -4", "MAF 0s..40s/1s 2.5"
	for name, c := range map[string]struct {
		purge string
		want  bool
	}{
		"never read": {"", false}, "shut": {"EVAP_PCT 0s..40s/1s 0", false}, "open all the time": {"EVAP_PCT 0s..40s/1s 60", false},
		"opens": {"EVAP_PCT 0s..24s/1s 0; 25s..40s/1s 30", true}, "shuts": {"EVAP_PCT 0s..24s/1s 30; 25s..40s/1s 0", true},
		"opens a little": {"EVAP_PCT 0s..24s/1s 0; 25s..40s/1s 8", true},
		"trembles":       {"EVAP_PCT 0s..24s/1s 30; 25s..40s/1s 23", false}, "had opened before the rest": {"EVAP_PCT 0s..8s/1s 0; 11s..40s/1s 30", false},
		"opens when it is over": {"EVAP_PCT 0s..35s/1s 0; 36s..40s/1s 30", false},
	} {
		scripts := []string{air, trims}
		if c.purge != "" {
			scripts = append(scripts, c.purge)
		}
		got := collected(t, 0, scripts...).Findings([]Hold{{Rich: true, From: 20.5, To: 35}}, true).Propane
		if len(got) != 1 || got[0].Purged != c.want {
			t.Errorf("%s: %+v, want purged %v", name, got, c.want)
		}
	}
}

// Which holds are measured, and that it does not matter when they were: a minute or two hours after the session began.
func TestHoldsThatAreMeasured(t *testing.T) {
	const trims, air, rpm = "SHRTFT1 0s..20s/250ms 10; 21s..40s/250ms 3.4", "MAF 0s..40s/1s 2.5", "RPM 0s..40s/1s 750"
	for _, c := range []struct {
		name    string
		hold    Hold
		mixture bool
		want    int
	}{
		{"propane", Hold{true, 20.5, 35}, true, 1},
		{"air", Hold{false, 20.5, 35}, true, 0},
		{"a wire", Hold{true, 20.5, 35}, false, 0},
		{"too short", Hold{true, 20.5, 26}, true, 0},
		{"long enough", Hold{true, 20.5, 26.5}, true, 1},
		{"no rest before", Hold{true, 0.5, 15}, true, 0},
		{"nothing read in it", Hold{true, 45, 60}, true, 0},
	} {
		for _, later := range []float64{0, 60, 7200} {
			co := collected(t, later, air, rpm, trims)
			co.Note(later, "propane 0.3 L/min")
			f := co.Findings([]Hold{{c.hold.Rich, c.hold.From + later, c.hold.To + later}}, c.mixture)
			if len(f.Propane) != c.want {
				t.Errorf("%s, %g s later: %+v", c.name, later, f.Propane)
				continue
			}
			if c.want == 1 { // by hand: from 1.10 to 1.034 is -6 %, 0.3 L/min at 2.5 g/s is 5.75 %
				if p := f.Propane[0]; math.Abs(p.Moved+6) > 0.01 || math.Abs(p.Share-6) > 0.01 || math.Abs(p.Expected+5.745) > 0.01 || p.At != c.hold.From+later {
					t.Errorf("%s, %g s later: %+v", c.name, later, p)
				}
			}
			if c.name == "propane" && (f.Rest == nil || math.Abs(f.Rest.Trim-10) > 0.01 || math.Abs(f.Rest.Litres-PropaneFlow(0.1, 2.5)) > 1e-3) {
				t.Errorf("%g s later: at rest %+v", later, f.Rest)
			}
		}
	}
}

// Readings are kept a quarter of a second apart, and a stretch of time has those from its begin to its end.
func TestThinAndWithin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var all []reading
		at := float32(0)
		for range rapid.IntRange(0, 60).Draw(t, "n") {
			at += rapid.SampledFrom([]float32{0.0625, 0.125, 0.25, 1}).Draw(t, "gap")
			all = thin(all, reading{at, 1})
		}
		for i := 1; i < len(all); i++ {
			if all[i].at < all[i-1].at+often {
				t.Fatalf("%v and %v are too close", all[i-1], all[i])
			}
		}
		if len(all) > 0 && at-all[len(all)-1].at >= often {
			t.Fatalf("the last reading, at %g s, is left out: %v", at, all)
		}
		from := rapid.Float64Range(-1, 30).Draw(t, "from")
		to := from + rapid.Float64Range(0, 30).Draw(t, "for")
		want := slices.DeleteFunc(slices.Clone(all), func(r reading) bool { return float64(r.at) < from || float64(r.at) > to })
		if got := within(all, from, to); !slices.Equal(got, want) {
			t.Fatalf("from %g to %g s: %v, want %v", from, to, got, want)
		}
	})
}
