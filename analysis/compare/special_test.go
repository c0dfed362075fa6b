package compare

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/scripttest"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/decode"
)

// A bank's readings are one a second at most, the mean of those that share a condition; worked by hand.
func TestPerSecond(t *testing.T) {
	idle := func(script string, bank int, coolant float64) (out []trimmap.Reading) {
		for _, p := range scripttest.Points(t, script) {
			out = append(out, trimmap.Reading{At: p.At, Bank: bank, Short: p.Value, RPM: 800, Load: 25, Coolant: coolant})
		}
		return out
	}
	faster := func(r []trimmap.Reading, from float64) []trimmap.Reading {
		for i := range r {
			if r[i].At >= from {
				r[i].RPM = 1800
			}
		}
		return r
	}
	for _, c := range []struct {
		name    string
		in      []trimmap.Reading
		want    []float64
		seconds float64
	}{
		{"none", nil, nil, 0},
		{"one", idle("1s 3", 1, 90), []float64{3}, 0},
		{"two within a second", idle("1s 2; 1.5s 4", 1, 90), []float64{3}, 0.5},
		{"a second apart", idle("1s 2; 2s 4", 1, 90), []float64{2, 4}, 1},
		{"of three a second the first begins it", idle("1s 1; 1.4s 2; 1.8s 3; 2.2s 10", 1, 90), []float64{2, 10}, 1.2},
		{"another condition within the second", faster(idle("1s 2; 1.5s 4", 1, 90), 1.5), []float64{2, 4}, 0.5},
		{"the other bank's", idle("1s 2; 2s 4", 2, 90), nil, 0},
		{"load not known", []trimmap.Reading{{At: 1, Bank: 1, Short: 2, RPM: 800, Load: math.NaN()}}, nil, 0},
	} {
		at, y, seconds := perSecond(slices.Values(c.in), 1)
		if !slices.EqualFunc(y, c.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }) || len(at) != len(y) || math.Abs(seconds-c.seconds) > 1e-9 {
			t.Errorf("%s: %v over %g s, want %v over %g s", c.name, y, seconds, c.want, c.seconds)
		}
	}
	if at, _, _ := perSecond(slices.Values(idle("1s 2", 1, 79)), 1); !at[0].Warming {
		t.Error("79 °C is not warming")
	}
	if at, _, _ := perSecond(slices.Values(idle("1s 2", 1, 80)), 1); at[0].Warming {
		t.Error("80 °C is warming")
	}
}

// Recordings of one side are joined by their readings: twice as many count twice.
func TestJoin(t *testing.T) {
	a := Half{Count: 10, Mean: 2, Blocks: 2, samples: []float64{2, 4}}
	b := Half{Count: 30, Mean: 6, Blocks: 3, samples: []float64{6, 8}}
	got := join(a, b)
	if got.Count != 40 || got.Mean != 5 || got.Blocks != 5 || !slices.Equal(got.samples, []float64{5, 7}) {
		t.Errorf("%+v", got)
	}
	if none := join(Half{}, b); none.Mean != 6 || none.Count != 30 {
		t.Errorf("with none: %+v", none)
	}
}

func TestConcludeOfConditions(t *testing.T) {
	is := func(a ...Answer) (out []Change) {
		for _, x := range a {
			out = append(out, Change{Answer: x})
		}
		return out
	}
	for _, c := range []struct {
		name    string
		cells   []Change
		all     Change
		want    Answer
		shifted bool
	}{
		{"all alike", is(NoDifference, NoDifference), Change{Answer: NoDifference}, NoDifference, false},
		{"one nearer", is(Better, NoDifference), Change{Answer: NoDifference}, Better, false},
		{"one farther", is(Worse, NoDifference), Change{Answer: NoDifference}, Worse, false},
		{"against each other: the mean tells", is(Better, Worse), Change{Answer: Worse}, Worse, false},
		{"against each other, and the mean does not", is(Better, Worse), Change{Answer: NoDifference}, NoDifference, false},
		{"the mean alone", is(NoDifference, NoDifference), Change{Answer: Better}, Better, false},
		{"moved, neither nearer nor farther", is(NoDifference, NoDifference), Change{Answer: NoDifference, Shifted: true}, NoDifference, true},
		{"one moved", []Change{{Answer: NoDifference, Shifted: true}}, Change{Answer: NoDifference}, NoDifference, true},
	} {
		if got, _, shifted := conclude(c.cells, c.all); got != c.want || shifted != c.shifted {
			t.Errorf("%s: %s, shifted %v", c.name, got, shifted)
		}
	}
}

// Before and after exchanged, better is worse; later in time, nothing changes; of trims of the other sign, nearer is nearer.
func TestTrimsAreSymmetric(t *testing.T) {
	opposite := map[Answer]Answer{Better: Worse, Worse: Better, NoDifference: NoDifference, NotComparable: NotComparable}
	for i, c := range []struct{ before, after float64 }{{12, 1}, {1, 12}, {3, 3}, {-12, 0}, {8, -8}} {
		rng := rand.New(rand.NewPCG(uint64(i), 9))
		b, a := made(rng, c.before, 0), made(rng, c.after, 0)
		turn := func(r []trimmap.Reading, sign, shift float64) []trimmap.Reading {
			out := slices.Clone(r)
			for i := range out {
				out[i].Short *= sign
				out[i].At += shift
			}
			return out
		}
		r := Trims(sides(b), sides(a))
		if back := Trims(sides(a), sides(b)); back.Answer != opposite[r.Answer] {
			t.Errorf("%g to %g: %s, back %s", c.before, c.after, r.Answer, back.Answer)
		}
		if late := Trims(sides(turn(b, 1, 5000)), sides(turn(a, 1, 90))); late.Answer != r.Answer || math.Abs(late.Overall.Diff.Value-r.Overall.Diff.Value) > 1e-9 {
			t.Errorf("%g to %g, later: %s by %g, not %s by %g", c.before, c.after, late.Answer, late.Overall.Diff.Value, r.Answer, r.Overall.Diff.Value)
		}
		neg := Trims(sides(turn(b, -1, 0)), sides(turn(a, -1, 0)))
		if neg.Answer != r.Answer || math.Abs(neg.Overall.Diff.Value+r.Overall.Diff.Value) > 1e-9 || math.Abs(neg.Overall.Nearer.Value-r.Overall.Nearer.Value) > 1e-9 {
			t.Errorf("%g to %g, of the other sign: %+v", c.before, c.after, neg.Overall)
		}
		if c.before == c.after && r.Answer != NoDifference {
			t.Errorf("unchanged at %g: %s", c.before, r.Answer)
		}
	}
}

// An interval holds its value, grows with what its sides scatter, and not with their order.
func TestIntervalOfAChange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		positive := rapid.Float64Range(0.01, 5)
		seB, seA, apart, diff := positive.Draw(t, "before"), positive.Draw(t, "after"), positive.Draw(t, "apart"), rapid.Float64Range(-20, 20).Draw(t, "diff")
		blocks := rapid.Float64Range(1, 40)
		x := Change{Before: Half{Blocks: blocks.Draw(t, "blocks before")}, After: Half{Blocks: blocks.Draw(t, "blocks after")}}
		y := Change{Before: x.After, After: x.Before}
		x.set(seB, seA, apart, diff, 0)
		y.set(seA, seB, apart, -diff, 0)
		if x.Diff.Lo > diff || x.Diff.Hi < diff || math.Abs(x.Diff.Hi+y.Diff.Lo) > 1e-9 || math.Abs(x.df-y.df) > 1e-9 {
			t.Fatalf("%+v, exchanged %+v", x.Diff, y.Diff)
		}
		wide := x
		wide.set(seB, seA, 4*apart, diff, 0)
		if wide.se <= x.se || x.df < 1 {
			t.Fatalf("farther apart it is %g, not above %g", wide.se, x.se)
		}
	})
}

// bandsOf is the sensor's switching at idle: so long rich and so long lean, at two levels, read ten times a second.
func bandsOf(seconds, rich, lean, low, high float64) []switching.SpeedBand {
	c := switching.NewCollector("B1S1")
	rng := rand.New(rand.NewPCG(1, 1))
	next, up := 0.0, false
	for i := range int(seconds * 10) {
		at := time.Duration(i) * 100 * time.Millisecond
		if at.Seconds() >= next {
			up = !up
			next = at.Seconds() + map[bool]float64{true: rich, false: lean}[up]*(0.9+0.2*rng.Float64())
		}
		v := low
		if up {
			v = high
		}
		c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: 800})
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: v})
	}
	return c.Bands(nil)
}

// What a sensor's switching differs by is said beyond the margin and what a recording scatters; a minute of a band is needed.
func TestSwitchingAnswers(t *testing.T) {
	sound := bandsOf(120, 1, 1, 0.1, 0.85)
	for _, c := range []struct {
		name  string
		after []switching.SpeedBand
		want  map[switching.Figure]Answer
	}{
		{"the same", sound, map[switching.Figure]Answer{switching.Lowest: NoDifference, switching.Highest: NoDifference, switching.Changes: NoDifference, switching.Period: NoDifference}},
		{"half as quick", bandsOf(120, 2, 2, 0.1, 0.85), map[switching.Figure]Answer{switching.Highest: NoDifference, switching.Changes: Differs, switching.Period: Differs}},
		{"within the margin", bandsOf(120, 1.1, 1.1, 0.1, 0.82), map[switching.Figure]Answer{switching.Highest: NoDifference, switching.Changes: NoDifference}},
		{"lower", bandsOf(120, 1, 1, 0.1, 0.65), map[switching.Figure]Answer{switching.Highest: Differs, switching.Lowest: NoDifference}},
		{"more rich", bandsOf(120, 3, 1, 0.1, 0.85), map[switching.Figure]Answer{switching.ShareRich: Differs}},
		{"half a minute", bandsOf(30, 1, 1, 0.1, 0.65), map[switching.Figure]Answer{switching.Highest: NotComparable, switching.Lowest: NotComparable}},
	} {
		got := Switching(sound, c.after)
		if len(got) != len(switching.Figures()) {
			t.Fatalf("%s: %d figures", c.name, len(got))
		}
		for f, want := range c.want {
			x := got[int(f)]
			if x.Answer != want || x.What != f.String() || (want == NotComparable) != math.IsNaN(x.Diff.Value) {
				t.Errorf("%s: %s is %s (%+v), want %s", c.name, f, x.Answer, x.Diff, want)
			}
		}
		for i, x := range Switching(c.after, sound) { // the other way round
			if x.Answer != got[i].Answer || x.Before != got[i].After && !math.IsNaN(x.Before) {
				t.Errorf("%s: %s is %s, the other way round %s", c.name, x.What, got[i].Answer, x.Answer)
			}
		}
	}
	if got := Switching(sound, nil); len(got) != 0 {
		t.Errorf("without a band after: %v", got)
	}
	if got := Switching(sound, []switching.SpeedBand{{Name: "2000 to 2500 rpm"}}); len(got) != 0 {
		t.Errorf("another band: %v", got)
	}
}
