package measure

import (
	"cmp"
	"math"
	"slices"
	"testing"
	"time"

	"pushback/decode"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, within)
	}
}

// The constants follow from molar masses (NIST Chemistry WebBook: propane 44.0956, oxygen 31.9988 g/mol) and the
// gas constant of CODATA; the mixture of 0.3 L/min at 2.5 g/s was computed by hand: 0.3/60 · 1.83 · 15.7 / 2.5.
func TestPropane(t *testing.T) {
	// U.S. Standard Atmosphere, 1976: 20.9476 % of oxygen by volume, 28.9644 g/mol.
	near(t, "oxygen in air by mass", OxygenInAir, 0.209476*31.9988/28.9644, 0.0002)
	near(t, "air for a gram", propaneAir, 5*31.9988/OxygenInAir/44.0956, 0.05)
	near(t, "density", propaneDensity, 101.325*44.0956/(8.314462618*293.15), 0.01)
	near(t, "0.3 L/min at 2.5 g/s", PropaneShare(0.3, 2.5), 0.057, 0.0005)
	for _, p := range []float64{0.01, 0.05, 0.2} {
		near(t, "flow and share", PropaneShare(PropaneFlow(p, 3), 3), p, 1e-12)
	}
}

// Published for training on air meters: an engine of 3.5 L at 5000 rpm draws 173 g/s at 100 % volumetric efficiency, about
// 138 at 80 %.
func TestFilled(t *testing.T) {
	full := Filled(101.325, 5000, 25, 3.5)
	near(t, "3.5 L at 5000 rpm", full, 173, 0.5)
	near(t, "at 80 %", 0.8*full, 138, 0.5)
	// ISO 2533: 101.325 kPa and 15 °C give 1.225 g/L; a litre is drawn in two turns.
	near(t, "a litre of standard air", Filled(101.325, 120, 15, 1), 1.225, 0.0005)
	near(t, "2 L at 3000 rpm, 100 kPa, 20 °C", Filled(100, 3000, 20, 2), 59.42, 0.01)
}

// A maker's rule for catalysts: 20 s at +25 % and 2.5 g/s of air is 2.9 g of oxygen, more than any stores.
func TestOxygen(t *testing.T) { near(t, "20 s", Oxygen(2.5, 0.25, 20), 2.89, 0.01) }

// feed gives the collector a second of readings a quarter of a second apart.
func feed(c *Collector, from, to float64, values map[string]float64) {
	for t := from; t < to; t += 0.25 {
		at := time.Duration(t * float64(time.Second))
		for _, name := range []string{"LONGFT1", "RPM", "LOAD_PCT", "MAF", "IAT", "SHRTFT1", "SHRTFT2", "O2S11", "O2S21"} {
			if v, ok := values[name]; ok {
				c.Add(decode.Sample{Sent: at, Received: at, Value: v, Signal: &decode.Signal{Name: name}})
			}
		}
	}
}

func TestTwoFlows(t *testing.T) {
	c := NewCollector(1)
	var holds []Hold
	for i, litres := range []string{"propane 0.3 L/min", "propane 0,6 l/min"} {
		at := 60 * float64(i)
		c.Note(at, litres)
		v, _ := PropaneNote(litres)
		moved := 0.9 * Settles(PropaneShare(v, 2.5)) * 112.2 // of the 1.02 · 1.10 before
		moved /= 1.10                                        // on the scale of short-term trim
		feed(c, at, at+20, map[string]float64{"SHRTFT1": 2, "LONGFT1": 10, "MAF": 2.5, "RPM": 750})
		feed(c, at+20, at+34, map[string]float64{"SHRTFT1": 2 + moved, "LONGFT1": 10, "MAF": 2.5, "RPM": 750})
		holds = append(holds, Hold{Rich: true, From: at + 20, To: at + 33})
	}
	f := c.Findings(holds, true)
	if len(f.Propane) != 2 || f.Line == nil || f.Rest == nil {
		t.Fatalf("%+v", f)
	}
	near(t, "authority", f.Line.Slope, 0.9, 0.001)
	near(t, "off the line", f.Line.Off, 0, 0.01)
	near(t, "0.3 L/min should move trim by", f.Propane[0].Expected, -5.74, 0.05)
	near(t, "the leak in propane", PropaneShare(f.Rest.Litres, 2.5), 0.122, 0.001)
	if f.Propane[0].Purged {
		t.Error("no purge was read")
	}
	for s, v := range map[int]float64{25: 0, 30: 45} {
		at := time.Duration(s) * time.Second
		c.purge = append(c.purge, reading{float32(at.Seconds()), float32(v)})
	}
	slices.SortFunc(c.purge, func(a, b reading) int { return cmp.Compare(a.at, b.at) })
	if g := c.Findings(holds, true); !g.Propane[0].Purged || g.Propane[1].Purged {
		t.Errorf("purge moved in the first hold alone: %+v", g.Propane)
	}
	if g := c.Findings(holds, false); len(g.Propane) != 0 {
		t.Errorf("a held wire is no propane: %+v", g.Propane)
	}
}

// A leak of 0.36 g/s beside 3 g/s through the meter takes 12 % more fuel: 3.36 of 3, whatever the ratio that fuel burns at.
func TestUnmetered(t *testing.T) {
	near(t, "a leak", Rest{Trim: 100 * (3.36/3 - 1), Flow: 3}.Unmetered(), 0.36, 1e-9)
}

func TestBreathing(t *testing.T) {
	for _, tt := range []struct {
		name      string
		flow, ltr float64
		trim      float64
		want      Filling
	}{
		{"as published", 138, 3.5, 0, Fills},
		{"meter low", 100, 3.5, 15, MeterLow},
		{"choked", 100, 3.5, 1, ChokedAir},
		{"trim takes out", 100, 3.5, -12, Uncertain},
		{"boost", 230, 3.5, 0, Overfull},
	} {
		c := NewCollector(1)
		feed(c, 0, 20, map[string]float64{"SHRTFT1": tt.trim, "MAF": 3, "RPM": 700, "LOAD_PCT": 20, "IAT": 25})
		feed(c, 20, 24, map[string]float64{"SHRTFT1": 0, "MAF": tt.flow, "RPM": 5000, "LOAD_PCT": 95, "IAT": 25})
		c.Note(3, "displacement 3.5 L")
		b := c.Breathing(nil, 0)
		if b == nil || b.Says != tt.want {
			t.Errorf("%s: %+v, want %s", tt.name, b, tt.want)
			continue
		}
		near(t, tt.name, b.Share, tt.flow/172.7, 0.002)
	}
	if b := NewCollector(1).Breathing(nil, 2); b != nil {
		t.Errorf("nothing read: %+v", b)
	}
}

func FuzzNote(f *testing.F) {
	for _, s := range []string{"propane 0.3 L/min", "PROPANE 1,5 lpm now", "propane", "propane 999 L/min", "displacement 3.5 litres", "propane -1 L/min"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, ok := PropaneNote(text); ok && !(v > 0 && v <= mostPropane) {
			t.Errorf("%q: %v L/min", text, v)
		}
		if v, ok := DisplacementNote(text); ok && !(v > 0 && v <= mostLitres) {
			t.Errorf("%q: %v L", text, v)
		}
	})
}

// Both banks, worked by hand: two wires 5 s apart, each answered by its own trim or by the other's; propane that one bank
// corrects by half, or not at all.
func TestBoth(t *testing.T) {
	type at struct{ one, two float64 } // s, when the trims begin to move; 0: never
	for _, tt := range []struct {
		name    string
		mixture bool
		answers at
		by      [2]float64 // %
		want    Likeness
	}{
		{"each its own", false, at{20.5, 25.5}, [2]float64{12, 12}, EachItsOwn},
		{"swapped", false, at{25.5, 20.5}, [2]float64{12, 12}, Crossed},
		{"one silent wire", false, at{20.5, 0}, [2]float64{12, 0}, NotTold},
		{"alike", true, at{20.5, 21}, [2]float64{-12, -11}, Alike},
		{"one less", true, at{20.5, 21}, [2]float64{-12, -6}, OneLess},
		{"one silent", true, at{20.5, 0}, [2]float64{-12, 0}, OneSilent},
		{"too little", true, at{20.5, 21}, [2]float64{-1, -1}, NotTold},
	} {
		c := NewCollector(1)
		moved := func(t, from, by float64) float64 {
			if from == 0 || t < from {
				return 0
			}
			return by
		}
		volts := func(t, from float64) float64 {
			if !tt.mixture && t >= from && t < 36 {
				return 0.02
			}
			return 0.1 + 0.7*float64(int(t)%2) // it cycles
		}
		for s := 0.0; s < 40; s += 0.25 {
			feed(c, s, s+0.25, map[string]float64{"SHRTFT1": moved(s, tt.answers.one, tt.by[0]), "SHRTFT2": moved(s, tt.answers.two, tt.by[1]),
				"O2S11": volts(s, 20), "O2S21": volts(s, 25)})
		}
		f := c.Findings([]Hold{{Rich: tt.mixture, From: 20, To: 35}}, tt.mixture)
		if len(f.Both) != 1 || f.Both[0].Says != tt.want {
			t.Errorf("%s: %+v, want %s", tt.name, f.Both, tt.want)
		}
	}
}

// A snap worked by hand: engine speed goes up and comes back, the reading rises over a time that is given.
func TestSnap(t *testing.T) {
	for _, tt := range []struct {
		name          string
		every, rise   float64 // s
		back, driven  bool
		want          int
		shown         bool
		quick, slow   bool
		highest, last float64 // V
	}{
		{"quick", 0.02, 0.05, true, false, 1, true, true, false, 0.9, 0.05},
		{"slow", 0.02, 0.4, true, false, 1, true, false, true, 0.9, 0.05},
		{"between two readings", 0.08, 0.05, true, false, 1, true, true, false, 0.9, 0.05},
		{"neither is sure", 0.09, 0.12, true, false, 1, true, false, false, 0.9, 0.05},
		{"too few readings", 0.15, 0.05, true, false, 1, false, false, false, 0.9, 0.05},
		{"held at speed", 0.02, 0.05, false, false, 0, false, false, false, 0, 0},
		{"driven off", 0.02, 0.05, true, true, 0, false, false, false, 0, 0},
	} {
		c := NewCollector(1)
		add := func(name string, s, v float64) {
			at := time.Duration(s * float64(time.Second))
			c.Add(decode.Sample{Sent: at, Received: at, Value: v, Signal: &decode.Signal{Name: name}})
		}
		next := 0.0
		for s := 0.0; s < 30; s += tt.every {
			volts := 0.1
			switch {
			case s >= 13:
				volts = 0.05
			case s >= 10.3:
				volts = min(0.1+(s-10.3)/tt.rise*0.3, 0.9) // 0.3 V in that time
			}
			add("O2S11", s, volts)
			if s < next {
				continue
			}
			next += 0.5
			rpm, speed := 750.0, 0.0
			if s >= 10 && (s < 12 || !tt.back) {
				rpm = 3500
			}
			if tt.driven && s >= 11 {
				speed = 20
			}
			add("VSS", s, speed)
			add("RPM", s, rpm)
		}
		got := c.Findings(nil, false).Snaps
		if len(got) != tt.want {
			t.Errorf("%s: %+v", tt.name, got)
			continue
		}
		if tt.want == 0 {
			continue
		}
		if s := got[0]; s.Shown != tt.shown || s.Quick() != tt.quick || s.Slow() != tt.slow || s.RiseMin > tt.rise+1e-3 || s.RiseMax < tt.rise-1e-3 ||
			math.Abs(s.High-tt.highest) > 0.01 || math.Abs(s.Low-tt.last) > 0.01 {
			t.Errorf("%s: %+v", tt.name, s)
		}
	}
}
