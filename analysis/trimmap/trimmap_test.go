package trimmap

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/reason"
	"pushback/decode"
)

// drive feeds a collector with a plain engine: each stage holds a speed and a load for
// a time; trim hunts by ±2 % around what the fault asks for. Two readings a second.
type stage struct {
	seconds   int
	rpm, load float64
}

var fullDrive = []stage{{60, 800, 25}, {40, 1500, 22}, {40, 2500, 22}, {60, 2000, 45}, {60, 2500, 60}, {60, 3000, 80}, {60, 800, 25}}

const perLitre = 2.0 // the engine's displacement, l

// flowOf is the flow of a two-litre engine at 1.184 g/l, g/s.
func flowOf(rpm, load float64) float64 { return 1.184 * perLitre / 2 * rpm / 60 * load / 100 }

// air says what a car tells of its air.
type air int

const (
	meter    air = iota
	pressure     // manifold pressure and intake temperature
	load         // calculated load alone
)

func drive(c interface{ Add(decode.Sample) }, stages []stage, total func(bank int, flow float64) float64, banks int, seed uint64, from air) {
	rng := rand.New(rand.NewPCG(seed, 1))
	at := time.Duration(0)
	add := func(name string, v float64) {
		c.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
	}
	for _, s := range stages {
		for i := range 2 * s.seconds {
			at += 500 * time.Millisecond
			flow := flowOf(s.rpm, s.load)
			add("RPM", s.rpm+8*rng.NormFloat64())
			if i%4 == 0 {
				add("LOAD_PCT", s.load+0.3*rng.NormFloat64())
				switch from {
				case meter:
					add("MAF", flow*(1+0.01*rng.NormFloat64()))
				case pressure: // 25 °C and full cylinders: pressure is 101.3 kPa times load
					add("MAP", 101.3*s.load/100)
					add("IAT", 25)
				}
				add("FUELSYS1", 2)
				add("ECT", 90)
			}
			for b := 1; b <= banks; b++ {
				if i%8 == 0 {
					add([]string{"", "LONGFT1", "LONGFT2"}[b], 3.125)
				}
				short := total(b, flow) - 3.125 + 2*math.Sin(2*math.Pi*at.Seconds()/1.7) + 0.7*rng.NormFloat64()
				add([]string{"", "SHRTFT1", "SHRTFT2"}[b], math.Round(short*1.28)/1.28)
			}
		}
	}
}

// The faults of the trade's table, with the size they have: 0.36 g/s of air or fuel too
// much is a = ±36 % · g/s by arithmetic (100 · 0.36/flow).
func TestPatterns(t *testing.T) {
	for _, tt := range []struct {
		name    string
		stages  []stage
		banks   int
		total   func(bank int, flow float64) float64
		want    Pattern
		a, b, c float64 // NaN: not looked at
	}{
		{"sound", fullDrive, 1, func(int, float64) float64 { return 1.5 }, Normal, 0, 1.5, 0},
		{"unmetered air", fullDrive, 1, func(_ int, f float64) float64 { return 36/f + 1 }, AddsAtIdle, 36, 1, 0},
		{"leaking injector", fullDrive, 1, func(_ int, f float64) float64 { return -36/f - 1 }, CutsAtIdle, -36, -1, 0},
		{"supply", fullDrive, 1, func(_ int, f float64) float64 { return 0.4 * f }, AddsAtLoad, 0, 0, 0.4},
		{"air meter reads low", fullDrive, 1, func(int, float64) float64 { return 14 }, AddsAll, 0, 14, 0},
		{"pressure too high", fullDrive, 1, func(int, float64) float64 { return -13 }, CutsAll, 0, -13, 0},
		{"idle only", fullDrive[:1], 1, func(_ int, f float64) float64 { return 36 / f }, AddsSomehow, math.NaN(), math.NaN(), math.NaN()},
		{"one bank of two", fullDrive, 2, func(bank int, f float64) float64 { return float64(2-bank) * 36 / f }, AddsAtIdle, 36, 0, 0},
	} {
		var c Collector
		drive(&c, tt.stages, tt.total, tt.banks, 5, meter)
		m := Build(c.Data(nil, 0))
		if len(m.Banks) != tt.banks {
			t.Fatalf("%s: %d banks", tt.name, len(m.Banks))
		}
		f := m.Banks[0].Fit
		if m.Banks[0].Pattern != tt.want {
			t.Errorf("%s: %s (%+v), want %s", tt.name, m.Banks[0].Pattern, f, tt.want)
		}
		for _, k := range []struct {
			name string
			got  Interval
			want float64
			near float64
		}{{"a", f.A, tt.a, 2}, {"b", f.B, tt.b, 0.8}, {"c", f.C, tt.c, 0.04}} {
			if !math.IsNaN(k.want) && math.Abs(k.got.Value-k.want) > k.near {
				t.Errorf("%s: %s is %+.3f (%+.3f to %+.3f), want %+.3f", tt.name, k.name, k.got.Value, k.got.Lo, k.got.Hi, k.want)
			}
		}
		if tt.banks == 2 && (m.Banks[1].Pattern != Normal || !m.Banks[0].Points[0].Has(reason.ThisBank)) {
			t.Errorf("%s: bank 2 %s, points %v", tt.name, m.Banks[1].Pattern, m.Banks[0].Points)
		}
		if tt.name == "idle only" && !m.Next.Has(reason.Drive2500) {
			t.Errorf("after idle alone the next condition is %v", m.Next)
		}
		if tt.name == "sound" && m.Next != nil {
			t.Errorf("everything was driven, yet next is %v", m.Next)
		}
	}
}

// Without an air meter the pattern is the same; with the displacement so is the size.
func TestOtherAirFlow(t *testing.T) {
	for _, tt := range []struct {
		from   air
		litres float64
		flow   Flow
		a      float64
	}{
		{pressure, perLitre, SpeedDensity, 36}, {pressure, 0, SpeedDensity, 18}, // per litre: half of it
		{load, 0, ByLoad, 36 / (1.184 * perLitre / 2 * 1000 / 60)}, // flow is that many g/s per 1000 rpm at full load
	} {
		var c Collector
		drive(&c, fullDrive, func(_ int, f float64) float64 { return 36/f + 1 }, 1, 5, tt.from)
		m := Build(c.Data(nil, tt.litres))
		if m.Flow != tt.flow || m.Banks[0].Pattern != AddsAtIdle || math.Abs(m.Banks[0].Fit.A.Value-tt.a) > 0.06*tt.a {
			t.Errorf("%v: %s, %s, a %+v, want %v", tt.from, m.Flow, m.Banks[0].Pattern, m.Banks[0].Fit.A, tt.a)
		}
	}
}

// Whatever comes, nothing panics, and the answer can be written as JSON.
func TestAnySamples(t *testing.T) {
	names := []string{"RPM", "LOAD_PCT", "MAF", "MAP", "IAT", "ECT", "FUELSYS1", "LONGFT1", "SHRTFT1", "SHRTFT11", "SHRTFT2"}
	rapid.Check(t, func(t *rapid.T) {
		var c Collector
		at := time.Duration(0)
		for range rapid.IntRange(0, 300).Draw(t, "samples") {
			at += time.Duration(rapid.IntRange(0, 3000).Draw(t, "ms")) * time.Millisecond
			s := decode.ByName(rapid.SampledFrom(names).Draw(t, "name"))
			c.Add(decode.Sample{Signal: s, Sent: at, Received: at, Value: rapid.Float64Range(s.Min, s.Max).Draw(t, "value")})
		}
		m := Build(c.Data([]Span{{10, 12}}, rapid.Float64Range(0, 3).Draw(t, "litres")))
		for _, b := range m.Banks {
			if _, err := json.Marshal([]any{b.Fit.A, b.Fit.AtLow, b.Fit.Falls}); err != nil || b.Says == nil {
				t.Fatalf("%+v: %v", b, err)
			}
		}
	})
}

// What must not count does not.
func TestLeftOut(t *testing.T) {
	var c Collector
	at := time.Duration(0)
	add := func(name string, v float64) {
		at += 100 * time.Millisecond
		c.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
	}
	set := func(rpm, status, coolant float64) {
		for range 2 { // twice: the step before it is not unsteady
			add("RPM", rpm)
		}
		add("FUELSYS1", status)
		add("ECT", coolant)
		add("LOAD_PCT", 25)
	}
	add("SHRTFT1", 9) // speed unknown
	set(800, 2, 90)
	add("SHRTFT1", 1)
	set(800, 1, 90)
	add("SHRTFT1", 9)
	set(800, 2, 40)
	add("SHRTFT1", 9)
	set(0, 2, 90)
	add("SHRTFT1", 9)
	set(800, 2, 90)
	add("RPM", 1400)
	add("SHRTFT1", 9)
	set(800, 2, 90)
	at = 60 * time.Second
	set(800, 2, 90)
	add("SHRTFT1", 9)
	at = 100 * time.Second
	set(800, 16, 90) // closed with a fault in a sensor is closed
	add("SHRTFT1", 3)
	d := c.Data([]Span{{58, 65}}, 0)
	if kept := slices.Collect(d.Readings); len(kept) != 2 || d.Count != 2 || kept[0].Short != 1 || kept[1].Short != 3 {
		t.Errorf("kept %d, %+v", d.Count, kept)
	}
	if want := (Left{OpenLoop: 1, Cold: 1, Forced: 1, Stopped: 1, Unsteady: 1, Unknown: 1}); d.Left != want {
		t.Errorf("left out %+v, want %+v", d.Left, want)
	}
}

// The trim beside the voltage is used where it agrees, and not where it does not: on a
// real car of an open data set the two lay 7 % apart at the median.
func TestTrimBeside(t *testing.T) {
	for _, tt := range []struct {
		off  float64
		want int
	}{{0, 200}, {7, 100}} {
		var c Collector
		for i := range 100 {
			at := time.Duration(i) * 500 * time.Millisecond
			for _, s := range []struct {
				name string
				v    float64
			}{{"RPM", 800}, {"FUELSYS1", 2}, {"SHRTFT1", 1}, {"SHRTFT11", 1 + tt.off}} {
				c.Add(decode.Sample{Signal: decode.ByName(s.name), Sent: at, Received: at, Value: s.v})
			}
		}
		if d := c.Data(nil, 0); d.Count != tt.want {
			t.Errorf("%v %% apart: %d readings count, want %d", tt.off, d.Count, tt.want)
		}
	}
}

func TestNothing(t *testing.T) {
	var c Collector
	m := Build(c.Data(nil, 0))
	if len(m.Banks) != 0 || m.Next == nil || len(m.Limits) == 0 {
		t.Errorf("%+v", m)
	}
}

// On a slow bus speed comes every 6 s: what lies between two that agree counts, what lies
// between two that do not, or that are too far apart, does not.
func TestSlowRound(t *testing.T) {
	var c Collector
	add := func(name string, seconds, v float64) {
		at := time.Duration(seconds * float64(time.Second))
		c.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
	}
	for _, x := range []struct{ at, rpm float64 }{{0, 800}, {6, 810}, {12, 2000}, {24, 2000}, {40, 2000}} {
		add("RPM", x.at, x.rpm)
		add("FUELSYS1", x.at, 2)
		add("ECT", x.at, 90)
		add("SHRTFT1", x.at+5, x.at) // older than a speed holds by itself
	}
	var kept []float64
	for r := range c.Data(nil, 0).Readings {
		kept = append(kept, r.Short)
	}
	if fmt.Sprint(kept) != "[0]" {
		t.Errorf("kept those after %v s, want that after 0 s only", kept)
	}
}

// What two banks say together, and a leak that turns: worked by hand from how air and fuel part.
func TestTogether(t *testing.T) {
	sign := func(bank int) float64 { return float64(2*bank - 3) } // bank 1 down, bank 2 up
	for _, tt := range []struct {
		name  string
		total func(bank int, flow float64) float64
		want  Together
		bank  int
	}{
		{"swapped sensors", func(bank int, _ float64) float64 { return 24 * sign(bank) }, Opposite, 0},
		{"bank 1 restricted", func(bank int, f float64) float64 { return 0.35 * f * sign(bank) }, Restricted, 1},
		{"bank 2 restricted", func(bank int, f float64) float64 { return -0.35 * f * sign(bank) }, Restricted, 2},
		{"one leak", func(bank int, f float64) float64 { return float64(2-bank) * 36 / f }, "", 0},
		{"both alike", func(int, float64) float64 { return 14 }, "", 0},
		{"sound, a little apart", func(bank int, _ float64) float64 { return 3 * sign(bank) }, "", 0},
	} {
		var c Collector
		drive(&c, fullDrive, tt.total, 2, 5, meter)
		p := Build(c.Data(nil, 0)).Pair
		if p == nil && tt.want != "" || p != nil && (p.Name != tt.want || p.Bank != tt.bank) {
			t.Errorf("%s: %+v, want %s of bank %d", tt.name, p, tt.want, tt.bank)
		}
	}
	var c Collector
	drive(&c, fullDrive, func(_ int, f float64) float64 { return 45/f - 0.5*f }, 1, 5, meter)
	if b := Build(c.Data(nil, 0)).Banks[0]; b.Pattern != TurnsToCuts || b.Points[0][0].Code != reason.BoostLeak {
		t.Errorf("adds at idle, cuts under load: %s, %v", b.Pattern, b.Points)
	}
}

// Trim at idle by commanded purge (PID 2E), and an idle that walks back minutes later.
func TestPurgeAndIdleAgain(t *testing.T) {
	for _, tt := range []struct {
		name            string
		open, shut      float64 // %, trim
		late            float64 // %, trim after five minutes, on top
		purge, idleSays reason.Code
	}{
		{"full canister", -12, -1, 0, reason.PurgeIsIt, reason.IdleSame},
		{"no difference", 1, 1, 0, reason.PurgeNothing, reason.IdleSame},
		{"injector", -12, -12, 0, reason.PurgeIsNot, reason.IdleSame},
		{"learned idle", 12, 12, -8, reason.PurgeNothing, reason.IdleWalkedBack},
		{"drifts away", 1, 1, 9, reason.PurgeNothing, reason.IdleMovedAway},
	} {
		var c Collector
		at := time.Duration(0)
		add := func(name string, v float64) {
			c.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
		}
		for i := range 420 {
			at += time.Second
			trim, purge := tt.shut, 0.0
			if i/20%2 == 1 {
				trim, purge = tt.open, 60
			}
			if i > 240 {
				trim += tt.late
			}
			for name, v := range map[string]float64{"FUELSYS1": 2, "ECT": 90, "RPM": 750, "LOAD_PCT": 25, "MAF": 3, "EVAP_PCT": purge} {
				add(name, v)
			}
			add("SHRTFT1", trim)
		}
		b := Build(c.Data(nil, 0)).Banks[0]
		if b.Purge == nil || b.Purge.Says[1].Code != tt.purge {
			t.Errorf("%s: purge %+v", tt.name, b.Purge)
		}
		if b.Idle == nil || b.Idle.Says[0].Code != tt.idleSays {
			t.Errorf("%s: idle %+v", tt.name, b.Idle)
		}
	}
}
