package dossier

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/decode"
)

func readiness(t testing.TB, hex string) *decode.Readiness {
	t.Helper()
	r, err := decode.ReadReadiness(unhex(t, hex))
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

// Progress of the monitors after a clearing. The bytes are PID 01 of a real car with all
// of catalyst, evaporative system, secondary air, sensors and heaters open (a 2003 workshop
// text), then with the sensors and their heaters done, by hand.
const (
	allOpen     = "410181076D6D"
	sensorsDone = "410181076D0D"
)

func TestMonitorsProgress(t *testing.T) {
	m := monitorsOf(&session.Findings{FirstReadiness: readiness(t, allOpen), Readiness: readiness(t, sensorsDone)})
	if len(m.Complete) != 5 {
		t.Errorf("complete: %q", m.Complete)
	}
	if d := cmp.Diff([]string{"catalyst", "evaporative system", "secondary air"}, m.Incomplete); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"oxygen sensors", "oxygen sensor heaters"}, m.Finished); d != "" {
		t.Error(d)
	}
	if m := monitorsOf(&session.Findings{}); m != nil {
		t.Error(m)
	}
}

// Each condition for a test: met, not met, not known.
func TestChecks(t *testing.T) {
	sensor := decode.SensorID{Bank: 1, Position: 1}
	narrow := []decode.Sensor{{Name: "B1S1", Kind: decode.Narrow}}
	ready := func(change func(*Look)) Look {
		l := Look{Last: map[string]float64{"RPM": 700, "ECT": 90, "RUNTM": 300, "FUELSYS1": 2, "SHRTFT1": 1}, RPM: [2]float64{690, 720}}
		if change != nil {
			change(&l)
		}
		return l
	}
	set := func(name string, v float64) Look { return ready(func(l *Look) { l.Last[name] = v }) }
	without := func(name string) Look { return ready(func(l *Look) { delete(l.Last, name) }) }
	read := func(codes ...string) *session.Findings {
		return &session.Findings{Codes: map[string][]string{"stored": codes}}
	}
	heater := func(v float64, notRun bool) *session.Findings {
		return &session.Findings{Tests: []decode.TestResult{{Service: 6, Monitor: 0x41, Sensor: "B1S1", Value: v, Min: 250, Max: 2200, NotRun: notRun}}}
	}
	monitors := func(hex string) *session.Findings { return &session.Findings{Readiness: readiness(t, hex)} }
	none := &session.Findings{}
	for _, tt := range []struct {
		name    string
		look    Look
		sensors []decode.Sensor
		found   *session.Findings
		id      CheckID
		want    CheckState // "": it is not told
	}{
		{"named", ready(nil), narrow, none, CheckNamed, Met},
		{"another named", ready(nil), []decode.Sensor{{Name: "B2S1"}}, none, CheckNamed, Unmet},
		{"none named", ready(nil), nil, none, CheckNamed, Unknown},
		{"narrow", ready(nil), narrow, none, CheckNarrow, Met},
		{"wide-range", ready(nil), []decode.Sensor{{Name: "B1S1", Kind: decode.WideRange}}, none, CheckNarrow, Unmet},
		{"kind not known", ready(nil), []decode.Sensor{{Name: "B1S1"}}, none, CheckNarrow, Unknown},
		{"kind of no sensor", ready(nil), nil, none, CheckNarrow, ""},
		{"runs at the limit", set("RPM", 400), narrow, none, CheckEngine, Met},
		{"cranks", set("RPM", 399), narrow, none, CheckEngine, Unmet},
		{"no speed", without("RPM"), narrow, none, CheckEngine, Unknown},
		{"warm at the limit", set("ECT", 60), narrow, none, CheckCoolant, Met},
		{"cold", set("ECT", 59), narrow, none, CheckCoolant, Unmet},
		{"no coolant", without("ECT"), narrow, none, CheckCoolant, Unknown},
		{"two minutes", set("RUNTM", 120), narrow, none, CheckRuntime, Met},
		{"just started", set("RUNTM", 119), narrow, none, CheckRuntime, Unmet},
		{"closed loop", ready(nil), narrow, none, CheckClosed, Met},
		{"closed with a fault", set("FUELSYS1", 16), narrow, none, CheckClosed, Met},
		{"open, not yet", set("FUELSYS1", 1), narrow, none, CheckClosed, Unmet},
		{"no status", without("FUELSYS1"), narrow, none, CheckClosed, Unknown},
		{"steady", ready(nil), narrow, none, CheckIdle, Met},
		{"steady at the limit", ready(func(l *Look) { l.RPM = [2]float64{600, 800} }), narrow, none, CheckIdle, Met},
		{"hunting", ready(func(l *Look) { l.RPM = [2]float64{600, 801} }), narrow, none, CheckIdle, Unmet},
		{"idle of a stopped engine", set("RPM", 0), narrow, none, CheckIdle, ""},
		{"trims", ready(nil), narrow, none, CheckTrims, Met},
		{"trims by another", ready(func(l *Look) { l.UnusedTrim = true }), narrow, none, CheckTrims, Unmet},
		{"tells no trim", without("SHRTFT1"), narrow, none, CheckTrims, ""},
		{"no codes", ready(nil), narrow, read(), CheckCodes, Met},
		{"a code of the mixture", ready(nil), narrow, read("P0171"), CheckCodes, Unmet},
		{"the catalyst's", ready(nil), narrow, read("P0420"), CheckCodes, Met},
		{"codes not read", ready(nil), narrow, none, CheckCodes, Unknown},
		{"monitors open", ready(nil), narrow, monitors(allOpen), CheckMonitors, Unmet},
		{"those of the sensors done", ready(nil), narrow, monitors(sensorsDone), CheckMonitors, Met},
		{"monitors not read", ready(nil), narrow, none, CheckMonitors, ""},
		{"heater", ready(nil), narrow, heater(700, false), CheckHeater, Met},
		{"heater failed", ready(nil), narrow, heater(100, false), CheckHeater, Unmet},
		{"heater's test not run", ready(nil), narrow, heater(0, true), CheckHeater, Unknown},
		{"no test of the heater", ready(nil), narrow, none, CheckHeater, ""},
	} {
		var got CheckState
		for _, c := range Checks(tt.look, tt.sensors, tt.found, sensor) {
			if c.ID == tt.id {
				got = c.State
			}
		}
		if got != tt.want {
			t.Errorf("%s: %s is %q, want %q", tt.name, tt.id, got, tt.want)
		}
	}
	// The second bank's fuel system where the car uses one.
	two := ready(func(l *Look) { l.Last["FUELSYS2"] = 4 })
	for bank, want := range map[int]CheckState{1: Met, 2: Unmet} {
		for _, c := range Checks(two, nil, none, decode.SensorID{Bank: bank, Position: 1}) {
			if c.ID == CheckClosed && c.State != want {
				t.Errorf("bank %d: closed loop is %q, want %q", bank, c.State, want)
			}
		}
	}
}

// The recording's figure beside the computer's, and in what it differs much.
func TestOwnTestBeside(t *testing.T) {
	idle := switching.SpeedBand{Low: 0.1, High: 0.8, Per10s: 10, Period: 2, Rise: switching.Edge{Count: 5, AtLeast: 0.05, AtMost: 0.07}, Fall: switching.Edge{}}
	fast := idle
	fast.Low = 0.4
	for _, tt := range []struct {
		name  string
		test  decode.TestResult
		bands []switching.SpeedBand
		want  float64 // -1: not measured
		diff  Difference
	}{
		{"lowest agrees", decode.TestResult{Test: 7, Value: 0.2}, []switching.SpeedBand{idle}, 0.1, ""},
		{"goes lower", decode.TestResult{Test: 7, Value: 0.3}, []switching.SpeedBand{idle}, 0.1, GoesLower},
		{"agrees at another speed", decode.TestResult{Test: 7, Value: 0.45}, []switching.SpeedBand{idle, fast}, 0.4, ""},
		{"agrees at none: the first", decode.TestResult{Test: 7, Value: 0.9}, []switching.SpeedBand{idle, fast}, 0.1, GoesLower},
		{"not as low", decode.TestResult{Test: 7, Value: 0.1}, []switching.SpeedBand{fast}, 0.4, NotAsLow},
		{"goes higher", decode.TestResult{Test: 8, Value: 0.6}, []switching.SpeedBand{idle}, 0.8, GoesHigher},
		{"not as high", decode.TestResult{Test: 8, Value: 1}, []switching.SpeedBand{idle}, 0.8, NotAsHigh},
		{"rise agrees", decode.TestResult{Test: 6, Value: 0.06}, []switching.SpeedBand{idle}, 0.06, ""},
		{"rise is another", decode.TestResult{Test: 6, Value: 0.2}, []switching.SpeedBand{idle}, 0.06, OtherSpeed},
		{"no fall was seen", decode.TestResult{Test: 5, Value: 0.2}, []switching.SpeedBand{idle}, -1, ""},
		{"pace agrees", decode.TestResult{Test: 9, Value: 1.2}, []switching.SpeedBand{idle}, 1, ""},
		{"another pace", decode.TestResult{Test: 10, Value: 0.9}, []switching.SpeedBand{idle}, 2, AnotherPace},
		{"not run", decode.TestResult{Test: 7, Value: 0.2, NotRun: true}, []switching.SpeedBand{idle}, -1, ""},
		{"of another sensor", decode.TestResult{Test: 7, Value: 0.2, Sensor: "B1S2"}, []switching.SpeedBand{idle}, -1, ""},
	} {
		tt.test.Service = 5
		if tt.test.Sensor == "" {
			tt.test.Sensor = "B1S1"
		}
		got := ownTests([]decode.TestResult{tt.test}, tt.bands, "B1S1")[0]
		recorded := got.Recorded
		if recorded != recorded {
			recorded = -1
		}
		if diff := recorded - tt.want; diff > 1e-9 || diff < -1e-9 || got.Differs != tt.diff {
			t.Errorf("%s: %v, %q; want %v, %q", tt.name, recorded, got.Differs, tt.want, tt.diff)
		}
	}
}

// A code that was read once is not said to be there still, and what was there before a clearing
// is the beginning.
func TestCodeHistory(t *testing.T) {
	found := func(times int, first, last []string) *session.Findings {
		f := &session.Findings{Codes: map[string][]string{}, FirstCodes: map[string][]string{}, CodeReadings: map[string]int{}}
		if times > 0 {
			f.Codes["stored"], f.FirstCodes["stored"], f.CodeReadings["stored"] = last, first, times
		}
		return f
	}
	one := []string{"P0171"}
	cleared := found(1, nil, nil)
	cleared.BeforeClear = found(1, one, one)
	notReadSince := found(0, nil, nil)
	notReadSince.BeforeClear = found(2, one, one)
	code := func(first, last Presence) []CodeChange {
		return []CodeChange{{Code{Code: "P0171", State: "stored"}, first, last}}
	}
	stored := []string{"stored"}
	for _, tt := range []struct {
		name  string
		found *session.Findings
		want  CodeHistory
	}{
		{"not read", found(0, nil, nil), CodeHistory{}},
		{"read once, none", found(1, nil, nil), CodeHistory{Once: stored}},
		{"read twice, none", found(2, nil, nil), CodeHistory{Twice: stored}},
		{"read once", found(1, one, one), CodeHistory{Codes: code(There, NotRead), Once: stored}},
		{"still there", found(2, one, one), CodeHistory{Codes: code(There, There), Twice: stored}},
		{"came", found(3, nil, one), CodeHistory{Codes: code(NotThere, There), Twice: stored}},
		{"cleared", cleared, CodeHistory{Codes: code(There, NotThere), Twice: stored}},
		{"cleared and not read since", notReadSince, CodeHistory{Codes: code(There, NotRead), Once: stored}},
	} {
		if d := cmp.Diff(tt.want, codeHistory(tt.found, nil)); d != "" {
			t.Errorf("%s: %s", tt.name, d)
		}
	}
}
