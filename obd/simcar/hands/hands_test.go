package hands_test

import (
	"testing"
	"time"

	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// said is a word and when it was said.
type said struct {
	at   float64
	word string
}

// guided plays a guide that leads through both sides by the clock: it asks at 10 s, has the
// hold released at 30 s, and so for the other side 40 s later.
func guided(t *testing.T, style hands.Style) (simcar.Truth, []said) {
	t.Helper()
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Seed: 1, BranchByHand: true, Trace: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	h := hands.New(style, sim, "B1S1")
	prompts := map[int]string{100: "go_lean", 300: "release_now", 500: "go_rich", 700: "release_now", 1100: "done"}
	var words []said
	for tenth := range 1200 {
		if err := sim.Clock().Sleep(t.Context(), 100*time.Millisecond); err != nil {
			t.Fatal(err)
		}
		if p := prompts[tenth]; p != "" {
			h.Prompt(p)
		}
		for _, w := range h.Due() {
			words = append(words, said{sim.Now().Seconds(), w})
		}
	}
	return sim.Truth(), words
}

// Each style does at the wire what its name says.
func TestStyles(t *testing.T) {
	for _, style := range hands.Styles {
		truth, words := guided(t, style)
		var holds, opens []simcar.ForceTruth
		for _, f := range truth.Forces {
			if f.Kind == simcar.ForceOpen {
				opens = append(opens, f)
			} else {
				holds = append(holds, f)
			}
		}
		begin := func(i int) float64 { return holds[i].Begin.Seconds() }
		length := func(i int) float64 { return (holds[i].End - holds[i].Begin).Seconds() }
		near := func(x, want float64) bool { return x > want-0.3 && x < want+0.3 }
		volts := func(s float64) float64 { return truth.Trace[int(s*10)].Upstream[0] }
		if style.Away > 0 { // this guide does not wait for anybody: one hold is missed
			if len(holds) != 1 || holds[0].Kind != simcar.ForceRich || holds[0].End < 0 {
				t.Errorf("%s: holds %+v", style.Name, holds)
			}
			continue
		}
		if len(holds) < 2 || holds[0].End < 0 || holds[len(holds)-1].End < 0 {
			t.Errorf("%s: holds %+v", style.Name, holds)
			continue
		}
		ok := len(holds) == 2 && near(begin(0), 10.1+style.React) && len(opens) == 2 && opens[1].End >= 0
		switch style.Name {
		case "as asked":
			ok = ok && near(length(0), 18.5) && len(words) == 4 && near(words[0].at, begin(0)) && volts(20) < 0.01 && volts(60) > 0.88
		case "never taps":
			ok = ok && len(words) == 0
		case "taps 4 s early", "taps 10 s early", "taps 4 s late", "taps 10 s late":
			ok = ok && len(words) == 4 && near(words[0].at-begin(0), style.Tap)
		case "taps twice":
			ok = ok && len(words) == 8
		case "wrong button once":
			ok = ok && words[0].word == "mark rich" && words[1].word == "tap"
		case "holds too short":
			ok = ok && near(length(0), 5) && near(length(1), 5)
		case "lets go late":
			ok = ok && near(length(0), 24.5)
		case "slips":
			ok = len(holds) == 4 && near(length(0), 4) && near(begin(1)-holds[0].End.Seconds(), 1.5) && holds[1].Kind == simcar.ForceLean
		case "touches first":
			ok = ok && near(length(0), 1.6) && length(1) > 15
		case "other order":
			ok = ok && holds[0].Kind == simcar.ForceRich && holds[1].Kind == simcar.ForceLean
		case "other sensor first":
			ok = ok && volts(20) > 0.02 && truth.Trace[200].Downstream[0] < 0.01 && volts(60) > 0.88
		case "leaves the branch open":
			ok = len(holds) == 2 && len(opens) == 2 && opens[1].End < 0 && volts(90) > 0.43 && volts(90) < 0.47 && volts(100) > 0.43 && volts(100) < 0.47
		case "forgets to open the branch":
			ok = len(opens) == 0 && volts(20) < 0.02
		case "poor contact":
			ok = ok && holds[0].Ohms == 500
		case "weak source":
			ok = ok && near(volts(60), 0.72) && volts(60) < 0.74
		case "trembles":
			ok = ok && holds[0].Shaky
		default:
			t.Errorf("%s: no check", style.Name)
		}
		if !ok {
			t.Errorf("%s: holds %+v, branch %+v, said %v", style.Name, holds, opens, words)
		}
	}
}

// Random hands come in all styles, end what they begin, and are those of their seed.
func TestRandom(t *testing.T) {
	never, perfect := 0, 0
	for seed := range uint64(300) {
		s := hands.Random(seed)
		if s != hands.Random(seed) {
			t.Fatalf("seed %d gives two pairs of hands", seed)
		}
		if s.Never {
			never++
		}
		if !s.Never && !s.Wrong && s.Hold == 0 && !s.Touch && !s.Open && !s.Forgets && s.Ohms == 0 && s.Slip == 0 && !s.Swapped {
			perfect++
		}
		if seed < 40 {
			truth, _ := guided(t, s)
			for _, f := range truth.Forces {
				if f.End < 0 && !(s.Open && f.Kind == simcar.ForceOpen) {
					t.Errorf("seed %d, %+v: %s has no end", seed, s, f.Kind)
				}
			}
		}
	}
	if never < 10 || perfect < 100 {
		t.Errorf("%d never tap, %d are without fault of 300", never, perfect)
	}
}

// Who tests the sensor behind the catalyst drives: a fuel cut of some seconds, then full load, and nothing is tapped at the wheel.
func TestDrives(t *testing.T) {
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Seed: 1, Trace: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	h := hands.New(hands.Styles[0], sim, "B1S2")
	for tenth := range 600 {
		if err := sim.Clock().Sleep(t.Context(), 100*time.Millisecond); err != nil {
			t.Fatal(err)
		}
		switch {
		case tenth == 50 || tenth == 70: // said again while they do it
			h.Prompt("lift_off")
		case tenth == 300:
			h.Prompt("full_load")
		}
		if words := h.Due(); len(words) > 0 {
			t.Fatalf("said at the wheel: %v", words)
		}
	}
	lean, rich := 0, 0
	for _, p := range sim.Truth().Trace {
		if p.Lambda[0] > 2 && p.RPM > 1000 {
			lean++
		}
		if p.Lambda[0] < 0.95 && p.RPM > 2000 {
			rich++
		}
	}
	if lean < 50 || lean > 100 || rich < 30 || rich > 80 {
		t.Errorf("%.1f s without fuel, %.1f s at full load", float64(lean)/10, float64(rich)/10)
	}
}
