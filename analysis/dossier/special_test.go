package dossier

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/analysis/agenda"
	"pushback/analysis/scripttest"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/decode"
	"pushback/obd"
)

// told are events of a script: a name, then the side.
func told(t *testing.T, script string) (out []analysis.Event) {
	for _, s := range scripttest.Steps(t, script) {
		words := append(strings.Fields(s.Words), "")
		out = append(out, analysis.Event{T: s.At.Seconds(), Name: analysis.EventName(words[0]), Side: analysis.Side(words[1])})
	}
	return out
}

// What follows from a force is never dated before it, and what has nothing to do with it stays where it was.
func TestInOrder(t *testing.T) {
	for _, c := range []struct {
		name   string
		events []analysis.Event
		want   string
	}{
		{"as they came", told(t, "2s ready; 20s force_begins lean; 21s loop_answers lean"), "ready 2, force_begins 20, loop_answers 21"},
		{"an answer dated before its force", append(told(t, "20s force_begins lean"), told(t, "19.5s loop_answers lean")...), "force_begins 20, loop_answers 20"},
		{"before the second force, of the first", append(told(t, "20s force_begins lean; 40s force_begins rich"), append(told(t, "39s loop_silent rich"), told(t, "38s code_set")...)...),
			"force_begins 20, code_set 38, force_begins 40, loop_silent 40"},
		{"told late, happened early", append(told(t, "30s ready"), told(t, "10s gap")...), "gap 10, ready 30"},
		{"at one time they keep their order", told(t, "5s sensor_answers; 5s force_ends lean"), "sensor_answers 5, force_ends 5"},
	} {
		before := slices.Clone(c.events)
		var got []string
		for _, e := range InOrder(c.events) {
			got = append(got, strings.TrimSuffix(string(e.Name)+" "+time.Duration(e.T*float64(time.Second)).String(), "s"))
		}
		if text := strings.Join(got, ", "); text != c.want {
			t.Errorf("%s: %s, want %s", c.name, text, c.want)
		}
		for i := range before {
			if before[i].T != c.events[i].T {
				t.Errorf("%s: the events themselves were changed", c.name)
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		var all []analysis.Event
		names := []analysis.EventName{analysis.Ready, analysis.ForceBegins, analysis.LoopAnswers, analysis.TrimAtLimit, analysis.ForceEnds, analysis.CodeSet}
		for range rapid.IntRange(0, 20).Draw(t, "events") {
			all = append(all, analysis.Event{T: rapid.Float64Range(0, 100).Draw(t, "at"), Name: rapid.SampledFrom(names).Draw(t, "name")})
		}
		got := InOrder(all)
		if len(got) != len(all) || !slices.IsSortedFunc(got, func(a, b analysis.Event) int {
			return int(math.Copysign(1, a.T-b.T)) * map[bool]int{true: 0, false: 1}[a.T == b.T]
		}) {
			t.Fatalf("%v", got)
		}
	})
}

// A test has one name, by service, monitor, test and part, and is a constant where its limits say nothing, or are itself.
func TestOwnTestNames(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		test     decode.TestResult
		id       string
		constant bool
	}{
		{decode.TestResult{Service: 5, Test: 7, Value: 0.1, Min: 0, Max: 0.2}, "05 07", false},
		{decode.TestResult{Service: 5, Test: 1, Value: 0.45, Min: nan, Max: nan}, "05 01", true},
		{decode.TestResult{Service: 6, Monitor: 1, Test: 0x81, Value: 3, Min: 3, Max: 3}, "06 01/81", true},
		{decode.TestResult{Service: 6, Monitor: 0x41, Test: 5, Value: 3, Min: 3, Max: 4}, "06 41/05", false},
		{decode.TestResult{Service: 6, Test: 5, Part: 3, Value: 300, Min: nan, Max: 500}, "06 05 part 03", false},
	} {
		o := OwnTest{TestResult: c.test}
		if o.ID() != c.id || o.Constant() != c.constant {
			t.Errorf("%+v: %q, constant %v", c.test, o.ID(), o.Constant())
		}
	}
}

// The computer's figure beside the recording's: only much is a difference, and the first engine speed that agrees counts.
func TestOwnTestsBesideTheRecording(t *testing.T) {
	nan := math.NaN()
	band := switching.SpeedBand{Low: 0.1, High: 0.85, Per10s: 10, Period: 2, Rise: switching.Edge{Count: 5, AtLeast: 0.04, AtMost: 0.08}, Fall: switching.Edge{Count: 5, AtLeast: 0.04, AtMost: 0.08}}
	other := band
	other.Low, other.High = 0.4, 0.6
	nothing := switching.SpeedBand{Low: nan, High: nan, Per10s: nan, Period: nan, Rise: switching.Edge{AtMost: nan}, Fall: switching.Edge{AtMost: nan}}
	for _, c := range []struct {
		name     string
		test     byte
		value    float64
		bands    []switching.SpeedBand
		recorded float64
		differs  Difference
	}{
		{"lowest", 0x07, 0.2, []switching.SpeedBand{band}, 0.1, ""},
		{"lowest, much higher in its own", 0x07, 0.3, []switching.SpeedBand{band}, 0.1, GoesLower},
		{"highest", 0x08, 0.75, []switching.SpeedBand{band}, 0.85, ""},
		{"highest, much lower in its own", 0x08, 0.6, []switching.SpeedBand{band}, 0.85, GoesHigher},
		{"highest, much higher in its own", 0x08, 1.1, []switching.SpeedBand{band}, 0.85, NotAsHigh},
		{"at one speed it agrees", 0x08, 0.65, []switching.SpeedBand{band, other}, 0.6, ""},
		{"at neither", 0x08, 1.1, []switching.SpeedBand{band, other}, 0.85, NotAsHigh},
		{"the middle of a bracket", 0x06, 0.05, []switching.SpeedBand{band}, 0.06, ""},
		{"at the edge of what is much", 0x06, 0.128, []switching.SpeedBand{band}, 0.06, ""},
		{"much slower in its own", 0x06, 0.13, []switching.SpeedBand{band}, 0.06, OtherSpeed},
		{"falls, much quicker", 0x05, 0.02, []switching.SpeedBand{band}, 0.06, OtherSpeed},
		{"time between changes", 0x09, 1.2, []switching.SpeedBand{band}, 1, ""},
		{"twice the pace", 0x09, 2, []switching.SpeedBand{band}, 1, AnotherPace},
		{"period", 0x0A, 1.5, []switching.SpeedBand{band}, 2, ""},
		{"not measured", 0x08, 0.8, []switching.SpeedBand{nothing}, nan, ""},
		{"no recording", 0x08, 0.8, nil, nan, ""},
		{"a threshold has none", 0x01, 0.45, []switching.SpeedBand{band}, nan, ""},
	} {
		tests := []decode.TestResult{{Service: 5, Test: c.test, Sensor: "B1S1", Value: c.value}, {Service: 5, Test: c.test, Sensor: "B2S1", Value: c.value}}
		got := ownTests(tests, c.bands, "B1S1")
		if math.Abs(got[0].Recorded-c.recorded) > 1e-9 || math.IsNaN(got[0].Recorded) != math.IsNaN(c.recorded) || got[0].Differs != c.differs {
			t.Errorf("%s: %g, %q; want %g, %q", c.name, got[0].Recorded, got[0].Differs, c.recorded, c.differs)
		}
		if !math.IsNaN(got[1].Recorded) || got[1].Differs != "" {
			t.Errorf("%s: the other sensor's has %g", c.name, got[1].Recorded)
		}
	}
}

// What was forced is left out up to the end, or to the last record where it is still held.
func TestForcedSpans(t *testing.T) {
	for _, c := range []struct {
		name, script string
		want         []trimmap.Span
		forcing      Forcing
	}{
		{"none", "1s ready", nil, NotForced},
		{"one", "10s force_begins lean; 25s force_ends lean", []trimmap.Span{{From: 10, To: 25}}, ForceSeen},
		{"two", "10s force_begins lean; 25s force_ends lean; 40s force_begins rich; 50s force_ends rich", []trimmap.Span{{From: 10, To: 25}, {From: 40, To: 50}}, ForceSeen},
		{"still held", "10s force_begins lean; 25s force_ends lean; 40s force_begins rich", []trimmap.Span{{From: 10, To: 25}, {From: 40, To: 90}}, ForceSeen},
		{"an end of nothing", "5s force_ends lean", nil, NotForced},
	} {
		setup, err := session.NewSetup("B1S1", "wire", obd.Format{})
		if err != nil {
			t.Fatal(err)
		}
		col := NewCollector(Setup{Setup: setup, Traces: true, Trims: true})
		for _, e := range told(t, c.script) {
			if err := col.Write(session.Frame{Record: obd.Record{At: time.Duration(e.T * float64(time.Second))}, Events: []analysis.Event{e}}); err != nil {
				t.Fatal(err)
			}
		}
		if err := col.Write(session.Frame{Record: obd.Record{At: 90 * time.Second}, Last: true}); err != nil {
			t.Fatal(err)
		}
		d := col.Dossier(session.Result{End: 90 * time.Second})
		if !slices.Equal(d.forced, c.want) || d.Forcing() != c.forcing {
			t.Errorf("%s: %v, %d", c.name, d.forced, d.Forcing())
		}
		var holds []trimmap.Span
		for _, h := range d.Trace.Holds {
			holds = append(holds, trimmap.Span{From: h.From, To: h.To})
		}
		if !slices.Equal(holds, c.want) {
			t.Errorf("%s: drawn %v", c.name, holds)
		}
		if item := d.Agenda(nil)[0]; item.Sensor != "B1S1" || item.By != analysis.ByWire || item.Map {
			t.Errorf("%s: %+v", c.name, item)
		}
		if open := agenda.Open(d.Agenda(nil), nil); len(open) == 0 {
			t.Errorf("%s: nothing is open", c.name)
		}
	}
}

// A freeze frame tells each signal once, as first read; missing ones are left out.
func TestFreezeOf(t *testing.T) {
	sample := func(name string, v float64, missing bool) decode.Sample {
		return decode.Sample{Signal: decode.ByName(name), Value: v, Missing: missing}
	}
	got := freezeOf(&session.Freeze{Code: "P0171", Samples: []decode.Sample{sample("RPM", 800, false), sample("ECT", 0, true), sample("RPM", 900, false), sample("LONGFT1", 18, false)}})
	if got.Code != "P0171" || len(got.Values) != 2 || got.Values[0] != (Value{"RPM", 800, "rpm"}) || got.Values[1].Value != 18 {
		t.Errorf("%+v", got)
	}
	if freezeOf(nil) != nil {
		t.Error("no frame is one")
	}
}

// What the drive was like: each signal's range, the fuel status by how often it was read.
func TestConditions(t *testing.T) {
	c := newConditions()
	for _, p := range []struct {
		name, script string
	}{{"RPM", "0s..10s/1s 800->2000"}, {"ECT", "0s 60; 5s 92; 10s 90"}, {"O2S11", "0s..10s/1s 0.5"}, {"FUELSYS1", "0s..2s/1s 1; 3s..10s/1s 2"}} {
		for _, x := range scripttest.Points(t, p.script) {
			c.add(decode.Sample{Signal: decode.ByName(p.name), Value: x.Value})
		}
	}
	c.add(decode.Sample{Signal: decode.ByName("RPM"), Value: 9999, Missing: true})
	want := []Range{{"ECT", "°C", 60, 92, 3}, {"RPM", "rpm", 800, 2000, 11}}
	if got := c.all(); !slices.Equal(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := c.shares(); !slices.Equal(got, []FuelShare{{2, 8}, {1, 3}}) {
		t.Errorf("%+v", got)
	}
	empty := newConditions()
	if len(empty.all()) != 0 || len(empty.shares()) != 0 {
		t.Error("nothing read, and something is told")
	}
}
