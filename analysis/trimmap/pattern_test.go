package trimmap

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/reason"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

// fitted is a fit whose ends and fall are as wide as half says.
func fitted(m Model, low, mid, high, half float64) Fit {
	return Fit{Model: m, Low: 3, Mid: 10, High: 40, AtLow: around(low, half), AtMid: around(mid, half), AtHigh: around(high, half), Falls: around(low-high, half)}
}

// mirrored is the fit of trims of the other sign.
func mirrored(f Fit) Fit {
	turn := func(i Interval) Interval { return Interval{-i.Value, -i.Hi, -i.Lo} }
	f.AtLow, f.AtMid, f.AtHigh, f.Falls = turn(f.AtLow), turn(f.AtMid), turn(f.AtHigh), turn(f.Falls)
	return f
}

var mirrorOf = map[Pattern]Pattern{
	NoData: NoData, Normal: Normal, Undecided: Undecided, TurnsToCuts: Undecided, // the other way round no one fault does it
	AddsAtIdle: CutsAtIdle, AddsAtLoad: CutsAtLoad, AddsAll: CutsAll, AddsSomehow: CutsSomehow,
	CutsAtIdle: AddsAtIdle, CutsAtLoad: AddsAtLoad, CutsAll: AddsAll, CutsSomehow: AddsSomehow,
}

// Total trim within 8 % is usual, as trade articles have it. What a fault does to trim over air flow is arithmetic: a leak of
// constant size is a share that falls with flow, a supply that runs out one that grows, an error of scale one that stays.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name string
		fit  Fit
		want Pattern
	}{
		{"nothing was read", Fit{Model: NoModel}, NoData},
		{"within the band", fitted(Full, 2, 1, -2, 1), Normal},
		{"at its edge", fitted(Full, 8, 8, 8, 1), Normal},
		{"within, but nobody knows how far", fitted(Full, 2, 1, -2, 9), Undecided},
		{"much at idle, little at load", fitted(Full, 14, 6, 1, 1), AddsAtIdle},
		{"the same, falling by less than a shape", fitted(Full, 14, 12, 10, 1), AddsAll},
		{"little at idle, much at load", fitted(Full, 1, 6, 14, 1), AddsAtLoad},
		{"much everywhere", fitted(Full, 12, 12, 12, 1), AddsAll},
		{"much everywhere, its fall not known", fitted(Full, 12, 12, 12, 7), AddsSomehow},
		{"much in the middle alone", fitted(Full, 4, 12, 4, 1), AddsAll},
		{"a leak that cuts at load too", fitted(Full, 14, 2, -14, 1), TurnsToCuts},
		{"beyond the band, its interval reaching to usual", fitted(Full, 9, 9, 9, 5.5), Undecided},
		{"just beyond, and known", fitted(Full, 8.1, 8.1, 8.1, 1), AddsAll},
		{"a short range shows a fall too", fitted(Falling, 14, 6, 1, 1), AddsAtIdle},
		{"one air flow: how much, not over what", fitted(LevelOnly, 0, 12, 0, 1), AddsSomehow},
		{"one air flow, usual", fitted(LevelOnly, 0, 5, 0, 1), Normal},
		{"one air flow, not known", fitted(LevelOnly, 0, 5, 0, 9), Undecided},
	} {
		if got := judge(c.fit); got != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
		if got, want := judge(mirrored(c.fit)), mirrorOf[c.want]; got != want {
			t.Errorf("%s, mirrored: %s, want %s", c.name, got, want)
		}
	}
}

// Whatever the fit, trims of the other sign are the other pattern, and one that is called usual is within the band.
func TestJudgeIsSymmetric(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-30, 30)
		f := fitted(rapid.SampledFrom([]Model{NoModel, LevelOnly, Falling, Full}).Draw(t, "model"), v.Draw(t, "low"), v.Draw(t, "mid"), v.Draw(t, "high"),
			rapid.Float64Range(0.1, 12).Draw(t, "half"))
		p := judge(f)
		if got := judge(mirrored(f)); got != mirrorOf[p] && !(p == Undecided && got == TurnsToCuts) {
			t.Fatalf("%+v: %s, mirrored %s", f, p, got)
		}
		if p == Normal && math.Abs(f.AtMid.Value) > Usual {
			t.Fatalf("%+v: usual", f)
		}
	})
}

// Each pattern that is a fault points somewhere and says its numbers; a usual one sends nobody anywhere.
func TestPoints(t *testing.T) {
	f := fitted(Full, 14, 6, 1, 1)
	said := map[reason.Code]Pattern{}
	for p := range mirrorOf {
		got, quiet := points(p, Metered, false, false), p == Normal || p == NoData || p == Undecided
		if (len(got) == 0) != quiet {
			t.Errorf("%s points to %v", p, got)
		}
		two := points(p, Metered, true, true)
		if want := len(got); !quiet && len(two) != want+1 || quiet && len(two) != 0 {
			t.Errorf("%s of all banks points to %v", p, two)
		}
		text := says(p, f, "g/s")
		ends := reason.TrimAtFlow.Of(14.0, 3.0, "g/s").And(reason.AndAtFlow, 1.0, 40.0, "g/s")
		if p != NoData && !reflect.DeepEqual(text[0].Figures, []any{ends}) {
			t.Errorf("%s without its numbers: %v", p, text)
		}
		if other, twice := said[text[0].Code]; twice {
			t.Errorf("%s and %s say the same: %v", p, other, text)
		}
		said[text[0].Code] = p
	}
	if one := says(AddsSomehow, fitted(LevelOnly, 0, 12, 0, 1), "g/s"); !reflect.DeepEqual(one[0].Figures, []any{reason.TrimAtFlow.Of(12.0, 10.0, "g/s")}) {
		t.Errorf("one air flow is said as %v", one)
	}
	// Without an air meter unmetered air is metered by pressure: the leak is less likely, and that comes first.
	if with, without := points(AddsAtIdle, Metered, false, false), points(AddsAtIdle, SpeedDensity, false, false); len(without) != len(with)+1 || without[0].Same(with[0]) {
		t.Errorf("with a meter %v, without %v", with, without)
	}
}

// A cell reaches from an edge up to below the next; what lies beyond the last is in the last.
func TestAt(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		rpm, load float64
		want      CellAt
		ok        bool
	}{
		{0, 0, CellAt{0, 0}, true},
		{800, 25, CellAt{0, 1}, true},
		{999.9, 19.9, CellAt{0, 0}, true},
		{1000, 20, CellAt{1, 1}, true},
		{3999, 79.9, CellAt{5, 3}, true},
		{4000, 80, CellAt{6, 4}, true},
		{9000, 130, CellAt{6, 4}, true},
		{-1, -1, CellAt{0, 0}, true},
		{nan, 20, CellAt{}, false},
		{800, nan, CellAt{}, false},
	} {
		if got, ok := At(Reading{RPM: c.rpm, Load: c.load}); got != c.want || ok != c.ok {
			t.Errorf("%v rpm, %v %%: %v, %v; want %v, %v", c.rpm, c.load, got, ok, c.want, c.ok)
		}
	}
}

// readings are of bank 1 at one speed and load, their short-term trim by a script.
func readings(t *testing.T, script string, rpm, load, flow float64) (out []Reading) {
	for _, p := range scripttest.Points(t, script) {
		out = append(out, Reading{At: p.At, Bank: 1, Short: p.Value, RPM: rpm, Load: load, Flow: flow})
	}
	return out
}

// Mean, spread and time of a cell, worked by hand; time counts while readings follow each other within 5 s.
func TestCells(t *testing.T) {
	for _, c := range []struct {
		name, script string
		count        int
		seconds      float64
		mean, sd     float64
		thin         bool
	}{
		{"one reading", "1s 3", 1, 0, 3, math.NaN(), true},
		{"two", "1s 2; 2s 4", 2, 1, 3, math.Sqrt2, true},
		{"enough", "0s..12s/1s 3", 13, 12, 3, 0, false},
		{"ten, too quick", "0s..1800ms/200ms 3", 10, 1.8, 3, 0, true},
		{"long, too few", "0s..12s/3s 3", 5, 12, 3, 0, true},
		{"a pause is no time", "0s 3; 1s 3; 60s 3; 61s 3", 4, 2, 3, 0, true},
	} {
		all := readings(t, c.script, 800, 25, 3)
		cells := of(all, 1).cells()
		if len(cells) != 1 {
			t.Fatalf("%s: %d cells", c.name, len(cells))
		}
		got := cells[0]
		near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 || math.IsNaN(a) && math.IsNaN(b) }
		if got.Count != c.count || !near(got.Seconds, c.seconds) || !near(got.Mean, c.mean) || !near(got.SD, c.sd) || got.Thin != c.thin {
			t.Errorf("%s: %+v", c.name, got)
		}
		if other := of(all, 2).cells(); len(other) != 0 {
			t.Errorf("%s: the other bank has %v", c.name, other)
		}
	}
}

// Idle is compared with itself five minutes later, where both were read for long enough: 15 readings a second apart, the first
// within two minutes. A change of 4 % is said, as toward zero or away from it.
func TestIdleAgain(t *testing.T) {
	for _, c := range []struct {
		name, trim   string
		rpm          float64
		first, later float64
		want         bool
	}{
		{"the same", "0s..30s/1s 6; 301s..330s/1s 6", 800, 6, 6, true},
		{"walked back", "0s..30s/1s 10; 301s..330s/1s 2", 800, 10, 2, true},
		{"the first two minutes alone are the start", "0s..119s/1s 10; 120s..299s/1s 50; 300s..330s/1s 2", 800, 10, 2, true},
		{"too soon", "0s..30s/1s 10; 60s..299s/1s 2", 800, 0, 0, false},
		{"too few at first", "0s..13s/1s 10; 301s..330s/1s 2", 800, 0, 0, false},
		{"too few later", "0s..30s/1s 10; 301s..314s/1s 2", 800, 0, 0, false},
		{"many within a second are one", "0s..30s/1s 10; 301s..304s/100ms 2", 800, 0, 0, false},
		{"no idle", "0s..30s/1s 10; 301s..330s/1s 2", 1200, 0, 0, false},
	} {
		for _, start := range []float64{0, 1000} {
			for _, sign := range []float64{1, -1} {
				all := readings(t, c.trim, c.rpm, 25, 3)
				for i := range all {
					all[i].At += start
					all[i].Short *= sign
				}
				got := of(all, 1).idle()
				if (got != nil) != c.want {
					t.Errorf("%s: %+v", c.name, got)
				} else if got != nil && (math.Abs(got.First-sign*c.first) > 1e-9 || math.Abs(got.Later-sign*c.later) > 1e-9 || math.Abs(got.Minutes-330./60) > 1e-9) {
					t.Errorf("%s: %+v", c.name, got)
				}
				if of(all, 2).opened {
					t.Errorf("%s: the other bank idled", c.name)
				}
			}
		}
	}
}

// A fit in JSON has four decimals, and null where nothing is known: special cases are no number and infinity.
func TestIntervalJSON(t *testing.T) {
	for _, c := range []struct {
		in   Interval
		want string
	}{
		{Interval{1.23456789, -1, 2}, `{"value":1.2346,"min":-1,"max":2}`},
		{Interval{math.NaN(), math.Inf(-1), math.Inf(1)}, `{"value":null,"min":null,"max":null}`},
		{Interval{}, `{"value":0,"min":0,"max":0}`},
	} {
		if got, err := json.Marshal(c.in); err != nil || string(got) != c.want {
			t.Errorf("%v: %s, %v", c.in, got, err)
		}
	}
	for _, c := range []struct {
		in   Interval
		want int
	}{{Interval{2, 1, 3}, 1}, {Interval{-2, -3, -1}, -1}, {Interval{1, -1, 3}, 0}, {Interval{1, 0, 3}, 0}, {Interval{math.NaN(), math.NaN(), math.NaN()}, 0}} {
		if got := c.in.Sign(); got != c.want {
			t.Errorf("the sign of %v is %d, want %d", c.in, got, c.want)
		}
	}
}

// collectorFunc takes the samples of a drive.
type collectorFunc func(decode.Sample)

func (f collectorFunc) Add(s decode.Sample) { f(s) }

// What is driven next is the cheapest condition whose air flow nobody has driven, for two banks the one that lacks it. A
// plain engine of constant filling: flow goes as speed times load.
func TestLead(t *testing.T) {
	sound := func(int, float64) float64 { return 1 }
	for _, c := range []struct {
		name   string
		stages []stage
		total  func(int, float64) float64
		want   string
		apart  bool
	}{
		{"nothing yet", []stage{{3, 800, 25}}, sound, "map_idle", false},
		{"idle alone", fullDrive[:1], sound, "map_2500", false}, // 1500 rpm without load draws about as much
		{"idle, and nearly 2500", []stage{{60, 800, 25}, {60, 2300, 20}}, sound, "map_cruise", false},
		{"four times idle's flow, and between, without the pull", []stage{{60, 800, 25}, {60, 2300, 20}, {60, 2000, 45}}, sound, "map_idle_again", true},
		{"the same, and idle five minutes later", []stage{{60, 800, 25}, {60, 2300, 20}, {190, 2000, 45}, {30, 800, 25}}, sound, "done", true},
		{"all of it", fullDrive, sound, "done", true},
		{"all of it, and it contradicts itself", fullDrive, func(_ int, f float64) float64 { return 14 * math.Tanh(f-10) }, "done", false},
	} {
		var l Lead
		looked := 0
		var cells int
		feed := collectorFunc(func(s decode.Sample) {
			if l.Add(s) {
				if looked++; l.Now().Cell != nil {
					cells++
				}
			}
		})
		drive(feed, c.stages, c.total, 1, 3, meter)
		g := l.Now()
		if c.name == "nothing yet" {
			if looked != 0 || g.Step != "" {
				t.Errorf("%s: looked at %d times, %+v", c.name, looked, g)
			}
			continue
		}
		if g.Step != c.want || g.Enough != (c.want == "done") || g.Apart != c.apart {
			t.Errorf("%s: %+v, want %s, apart %v", c.name, g, c.want, c.apart)
		}
		if g.Enough != (g.What == nil) || g.Enough != (g.Bank == 0) {
			t.Errorf("%s: what to do is %v of bank %d", c.name, g.What, g.Bank)
		}
		seconds := 0
		for _, s := range c.stages {
			seconds += s.seconds
		}
		if want := seconds / int(checkEvery); looked < want-1 || looked > want {
			t.Errorf("%s: looked at %d times in %d s", c.name, looked, seconds)
		}
		if cells == 0 {
			t.Errorf("%s: never said which cell is being filled", c.name)
		}
	}
}

// Where one condition would just do for another, noise in speed and load would decide whether that is asked for.
func TestConditionsLieApart(t *testing.T) {
	for i, a := range conditions {
		for _, b := range conditions[:i] {
			reach := a.speed * a.share / (b.speed * b.share)
			if reach = max(reach, 1/reach); math.Abs(math.Log(reach/newFlow)) < 0.05 {
				t.Errorf("%s draws %.3f times as much as %s, or as little: %g is too near", a.name, reach, b.name, newFlow)
			}
		}
	}
	for seed := range uint64(8) {
		var l Lead
		drive(collectorFunc(func(s decode.Sample) { l.Add(s) }), []stage{{60, 800, 25}, {60, 2500, 20}}, func(int, float64) float64 { return 1 }, 1, seed, meter)
		if g := l.Now(); g.Step != "map_cruise" || g.Have != 0 {
			t.Errorf("idle and 2500, drive %d: %+v, want map_cruise", seed, g)
		}
	}
}

// The readings that are near a condition are counted a second apart, up to what is wanted.
func TestLeadCounts(t *testing.T) {
	var l Lead
	add := func(at time.Duration, name string, v float64) {
		l.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
	}
	have := -1
	for at := time.Duration(0); at <= 60*time.Second; at += 100 * time.Millisecond {
		for _, x := range []struct {
			name string
			v    float64
		}{{"RPM", 800}, {"LOAD_PCT", 25}, {"MAF", 3}, {"FUELSYS1", 2}, {"ECT", 90}, {"SHRTFT1", 1}} {
			add(at, x.name, x.v)
		}
		g := l.Now()
		if g.Step == "" {
			continue // not looked at yet
		}
		if g.Step != "map_idle" {
			if at < time.Duration(perThird)*time.Second {
				t.Fatalf("%v: %s before %d readings a second apart", at, g.Step, perThird)
			}
			break
		}
		if g.Have < have || g.Have > int(at.Seconds())+1 || g.Want != perThird {
			t.Fatalf("%v: has %d of %d, had %d", at, g.Have, g.Want, have)
		}
		have = g.Have
	}
	if have < perThird/2 {
		t.Errorf("had %d at most", have)
	}
}

func TestEnough(t *testing.T) {
	done, open := fitted(Full, 14, 6, 1, 1), fitted(Full, 2, 1, -2, 9)
	for _, c := range []struct {
		name string
		m    Map
		want bool
	}{
		{"no bank", Map{}, false},
		{"told apart", Map{Banks: []Result{{Fit: done}}, Next: reason.Drive2500.Of()}, true},
		{"one of two is not", Map{Banks: []Result{{Fit: done}, {Fit: open}}, Next: reason.Drive2500.Of()}, false},
		{"a short range tells no leak from scale", Map{Banks: []Result{{Fit: fitted(Falling, 14, 6, 1, 1)}}, Next: reason.Drive2500.Of()}, false},
		{"not, and nothing is left to drive", Map{Banks: []Result{{Fit: open}}}, true},
	} {
		if got := c.m.Enough(); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// The terms of a drive without noise are found again, wherever in time it lies and in whatever order banks come.
func TestFitBankFindsTheTerms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := rapid.Float64Range(-60, 60).Draw(t, "a"), rapid.Float64Range(-15, 15).Draw(t, "b"), rapid.Float64Range(-0.6, 0.6).Draw(t, "c")
		shift := rapid.Float64Range(0, 1e5).Draw(t, "shift")
		var all []Reading
		for i := range 240 {
			flow := 3 * math.Pow(16, float64(i%24)/23)
			all = append(all, Reading{At: shift + float64(i), Bank: 1, Short: a/flow + b + c*flow, Flow: flow, RPM: 1500, Load: 40},
				Reading{At: shift + float64(i), Bank: 2, Short: 25, Flow: flow, RPM: 1500, Load: 40})
		}
		f := FitBank(slices.Values(all), 1)
		if f.Model != Full || math.Abs(f.A.Value-a) > 1e-3 || math.Abs(f.B.Value-b) > 1e-3 || math.Abs(f.C.Value-c) > 1e-3 {
			t.Fatalf("%s", fmt.Sprintf("%+v, want %v %v %v", f, a, b, c))
		}
		if got := f.AtLow.Value - f.AtHigh.Value; math.Abs(got-f.Falls.Value) > 1e-6 {
			t.Fatalf("falls by %v, from end to end by %v", f.Falls.Value, got)
		}
	})
}

// The special cases that FitBank names.
func TestFitBankSpecialCases(t *testing.T) {
	nan := math.NaN()
	// flows is a reading each so many seconds, its flow going round.
	flows := func(n int, every float64, flow ...float64) (out []Reading) {
		for i := range n {
			out = append(out, Reading{At: float64(i) * every, Bank: 1, Short: 3, Flow: flow[i%len(flow)]})
		}
		return out
	}
	for _, c := range []struct {
		name     string
		readings []Reading
		want     Model
		count    int
	}{
		{"none", nil, NoModel, 0},
		{"nineteen", flows(19, 1, 3, 6, 12), NoModel, 19},
		{"twenty", flows(20, 1, 3), LevelOnly, 20},
		{"many, within a second each", flows(100, 0.1, 3), NoModel, 100},
		{"no flow known", flows(60, 1, nan), NoModel, 0},
		{"no flow", flows(60, 1, 0), NoModel, 0},
		{"below none", flows(60, 1, -2), NoModel, 0},
		{"half of them", flows(60, 1, 3, nan), LevelOnly, 30},
		{"one flow and a half", flows(60, 1, 3, 4.5), LevelOnly, 60},
		{"twice the flow", flows(60, 1, 3, 6), Falling, 60},
		{"four times, nothing between", flows(60, 1, 3, 12), Falling, 60},
		{"four times, and between", flows(60, 1, 3, 6, 12), Full, 60},
	} {
		f := FitBank(slices.Values(c.readings), 1)
		if f.Model != c.want || f.Count != c.count {
			t.Errorf("%s: %s of %d, want %s of %d", c.name, f.Model, f.Count, c.want, c.count)
		}
		if f.Model == NoModel && (f != Fit{Model: NoModel, Count: c.count}) {
			t.Errorf("%s: %+v", c.name, f)
		}
		if f.Model != NoModel && math.Abs(f.AtMid.Value-3) > 1e-6 {
			t.Errorf("%s: trim of 3 %% is fitted as %+v", c.name, f.AtMid)
		}
	}
}

// of is what readings come to for one bank.
func of(all []Reading, bank int) *ofBank {
	if b := (Data{Readings: slices.Values(all)}).gathered()[bank]; b != nil {
		return b
	}
	return new(ofBank)
}
