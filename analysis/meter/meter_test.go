package meter

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParse(t *testing.T) {
	for _, tt := range []struct {
		text, entry string // "": refused
		side        int
	}{
		{"return=0.02", "meter return=0.02 V", 0},
		{"return=2,5V", "meter return=2.5 V", 1},
		{"return=20 mV", "meter return=0.02 V", 0},
		{"heater=9.2 ohm", "meter heater=9.2 ohm", 0}, // a maker's figure at 20 °C
		{"heater=0.3", "meter heater=0.3 ohm", -1},
		{"HEATER=12kohm", "meter heater=12000 ohm", 1},
		{"pressure=40psi", "meter pressure=275.7903 kPa", 0}, // NIST SP 811: 1 psi is 6.894757 kPa
		{"pressure=1.5 bar", "meter pressure=150 kPa", -1},
		{"supply=11.9", "meter supply=11.9 V", -1},
		{"supply=", "", 0}, {"supply", "", 0}, {"wheel=3", "", 0}, {"heater=-3", "", 0}, {"heater=3 V", "", 0}, {"supply=99", "", 0}, {"return=nan", "", 0},
	} {
		r, err := Parse(tt.text)
		if (err != nil) != (tt.entry == "") {
			t.Errorf("%q: %v", tt.text, err)
			continue
		}
		if err != nil {
			continue
		}
		if r.Entry() != tt.entry || r.Side() != tt.side {
			t.Errorf("%q: %q, side %d", tt.text, r.Entry(), r.Side())
		}
		if (r.Step() == nil) != (tt.side == 0) {
			t.Errorf("%q: step %v", tt.text, r.Step())
		}
	}
}

// Every kind has a step for each side, every usual value its source.
func TestUsual(t *testing.T) {
	for _, u := range All {
		if u.TooLow == "" || u.TooHigh == "" || u.TooLow == u.TooHigh || u.Source == "" || u.Low >= u.High || u.High >= u.Most {
			t.Errorf("%+v", u)
		}
	}
}

// What was put right is not asked for again.
func TestUnusual(t *testing.T) {
	got := Unusual([]string{"meter supply=11 V", "replaced the belt", "meter supply=14.1 V", "meter pressure=100 kPa", "meter nonsense"})
	if len(got) != 1 || got[0].Kind != Pressure {
		t.Errorf("%+v", got)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"return=0.02", "pressure=40psi", "heater=1e9", "=", "supply=+-1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := Parse(text)
		if err != nil {
			return
		}
		again, is := Read(r.Entry())
		if !is || again.Value != r.Value || again.Kind != r.Kind || strings.Contains(r.Entry(), "e+") {
			t.Errorf("%q: %q is read as %+v", text, r.Entry(), again)
		}
	})
}

// What was read is kept and read back, whatever was typed; what is said of it does not depend on the unit.
func TestEntriesComeBack(t *testing.T) {
	units := map[Kind][]string{Return: {"", "v", "mV"}, Heater: {"", "ohm", "Ω", "kohm"}, Pressure: {"", "kPa", "bar", "psi"}, Supply: {"", " V"}}
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom(All).Draw(t, "kind")
		v := rapid.Float64Range(-1.2*u.Most, 1.2*u.Most).Draw(t, "value")
		text := fmt.Sprintf("%s=%.4f%s", u.Kind, v, rapid.SampledFrom(units[u.Kind]).Draw(t, "unit"))
		if rapid.Bool().Draw(t, "comma") {
			text = strings.Replace(text, ".", ",", 1)
		}
		r, err := Parse(text)
		if err != nil {
			if !strings.Contains(err.Error(), "not possible") {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		back, ok := Read(r.Entry())
		if !ok || back != r || math.Abs(r.Value) > u.Most || (r.Side() == 0) != (u.Low <= r.Value && r.Value <= u.High) {
			t.Fatalf("%q is %q, and comes back as %+v (%v)", text, r.Entry(), back, ok)
		}
	})
	for _, entry := range []string{"", "heater=3", "meter ", "meter heater=3", "meter heater=3.0 ohm", "meter heater=3 kohm", "METER heater=3 ohm", "meter heater=3 ohm "} {
		if r, ok := Read(entry); ok {
			t.Errorf("%q is an entry: %+v", entry, r)
		}
	}
}
