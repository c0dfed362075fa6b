package analysis

import (
	"slices"
	"testing"

	"pushback/analysis/reason"
)

// What a computer says of fuel and exhaust air forbids a test, by the codes of SAE J1979's tables.
func TestFit(t *testing.T) {
	type told struct {
		name  string
		t, v  float64
		holds bool
		never bool
	}
	for _, tt := range []struct {
		name string
		told []told
	}{
		{"gasoline", []told{{"FUEL_TYP", 1, 0x01, true, false}, {"AIR_STAT", 1, 0x04, true, false}}},
		{"diesel by PID 01", []told{{"COMP_IGN", 1, 0x08, false, true}}},
		{"diesel by PID 51", []told{{"FUEL_TYP", 1, 0x04, false, true}}},
		{"gas only", []told{{"FUEL_TYP", 1, 0x06, false, true}}},
		{"two fuels", []told{{"FUEL_TYP", 1, 0x0C, false, false}, {"FUEL_TYP", 31, 0x09, true, false}}},
		{"a hybrid that starts its engine", []told{{"FUEL_TYP", 1, 0x14, false, false}, {"FUEL_TYP", 31, 0x11, true, false}, {"FUEL_TYP", 61, 0x16, false, false}, {"FUEL_TYP", 91, 0x15, true, false}}},
		{"a hybrid with a diesel", []told{{"FUEL_TYP", 1, 0x13, false, true}}},
		{"secondary air", []told{{"AIR_STAT", 1, 0x01, false, false}, {"AIR_STAT", 60, 0x04, true, false}}},
		{"air behind the first catalyst", []told{{"AIR_STAT", 1, 0x02, true, false}}},
		{"alcohol that stays", []told{{"ALCH_PCT", 1, 10, true, false}, {"ALCH_PCT", 6, 10.4, true, false}, {"ALCH_PCT", 11, 10, true, false}}},
		{"alcohol that is learned", []told{{"ALCH_PCT", 1, 10, true, false}, {"ALCH_PCT", 6, 14, false, false}, {"ALCH_PCT", 11, 17, false, false},
			{"ALCH_PCT", 21, 17.4, false, false}, {"ALCH_PCT", 31, 17.4, true, false}}},
		{"others", []told{{"RPM", 1, 0, true, false}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var f Fit
			for _, x := range tt.told {
				f.Tell(x.name, x.t, x.v)
				if f.Holds() != x.holds || f.Never() != x.never || f.Holds() != (len(f.Unmet()) == 0) {
					t.Errorf("%s %v at %v s: holds %v, never %v, %v", x.name, x.v, x.t, f.Holds(), f.Never(), f.Unmet())
				}
				if TellsFit(x.name) == slices.Contains([]string{"RPM"}, x.name) {
					t.Errorf("%s: followed %v", x.name, TellsFit(x.name))
				}
			}
		})
	}
}

// A hybrid's battery tells one that does not name its fuel, and what to heed.
func TestHybridByItsBattery(t *testing.T) {
	var f Fit
	f.Tell("FUEL_TYP", 1, 0x01)
	if f.Hybrid() || len(f.Heeds()) > 0 {
		t.Error("a petrol car is no hybrid")
	}
	f.Tell("BAT_PWR", 2, 62)
	if !f.Hybrid() || !f.Holds() || f.Heeds()[0][0].Code != reason.HybridStops || f.Standing()[0].Code != reason.EngineStopped {
		t.Errorf("hybrid %v, holds %v, %v, %v", f.Hybrid(), f.Holds(), f.Heeds(), f.Standing())
	}
}

// An engine of a hybrid stands when it likes, also before it ran once.
func TestHybridStands(t *testing.T) {
	for code, hybrid := range map[byte]bool{0x01: false, 0x04: false, 0x09: false, 0x0F: true, 0x11: true, 0x12: true, 0x14: true, 0x15: true, 0x16: true} {
		var f Fit
		f.Tell("FUEL_TYP", 1, float64(code))
		if stopped := f.Standing()[0].Code == reason.EngineStopped; f.Hybrid() != hybrid || stopped != hybrid {
			t.Errorf("%02X: hybrid %v, %v", code, f.Hybrid(), f.Standing())
		}
	}
}

// What opens a loop stands before the loop that is open for it: the first condition is what is done next.
func TestTheCauseComesFirst(t *testing.T) {
	for _, c := range []struct {
		name, scripts string
		want          reason.Code
	}{
		{"the engine stands", "RPM 0s..10s/1s 0", reason.EngineOff},
		{"secondary air", "AIR_STAT 0s..10s/1s 1", reason.SecondaryAir},
		{"cold", "ECT 0s..10s/1s 30", reason.CoolantCold},
		{"nothing else", "RPM 0s..10s/1s 800", reason.LoopOpen},
	} {
		_, w := playSession(t, Config{}, false, "FUELSYS1 0s..10s/1s 1", c.scripts)
		if got := w.ready.unmet(); len(got) == 0 || got[0][0].Code != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
