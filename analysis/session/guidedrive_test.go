package session

import (
	"slices"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/decode"
	"pushback/obd"
)

// A driver does some seconds later what a led drive asks for; the car's readings follow by hand: in a cut no load, an open loop and air, at full
// load an open loop and rich gas.
type driver struct {
	rear    map[string]float64 // V of the sensor behind the catalyst: cruise, cut, pull
	refuses analysis.Side      // what the road does not allow
	stalls  time.Duration      // the engine stands from then on for 20 s; 0: it does not
}

// readings are what is read while the engine does something, for so long, s.
func (c driver) readings(does string, in float64, stands bool) ([]string, []float64) {
	rpm, load, status, front := 2600.0, 40.0, 2.0, 0.7
	switch does {
	case "cut":
		rpm, load, status, front = 2500-130*in, 6, 4, 0.03
	case "pull":
		rpm, load, status, front = 2500+300*in, 92, 4, 0.88
	}
	if stands {
		rpm, load = 0, 0
	}
	volts := c.rear[does]
	if in < 2 {
		volts = c.rear["cruise"]
	}
	return []string{"O2S12", "RPM", "LOAD_PCT", "FUELSYS1", "O2S11", "ECT", "MAF"}, []float64{volts, rpm, load, status, front, 90, 4}
}

// drive plays a led drive and returns the steps that were asked for, the leader's last prompt, the time and the judge.
func (c driver) drive(t *testing.T, tap func(d *Drive, step string)) ([]string, Prompt, time.Duration, *Judge) {
	t.Helper()
	j := NewJudge(Setup{Sensor: decode.SensorID{Bank: 1, Position: 2}, By: analysis.ByFuelCut})
	var steps []string
	var last Prompt
	over, now := false, time.Duration(0)
	d, is := NewLeader(GuideConfig{}, j, func(p Prompt) {
		if last = p; p.New {
			steps = append(steps, p.Step(analysis.ByFuelCut))
		}
	}, func() { over = true }).(*Drive)
	if !is {
		t.Fatal("no drive is led")
	}
	does, since := "cruise", time.Duration(0)
	for ; !over && now < time.Hour; now += 200 * time.Millisecond {
		want := "cruise"
		if p := last; p.Stage == StageForce && now-p.Since > 3*time.Second && p.Side != c.refuses || p.Stage == StageHold && now < p.Until {
			want = map[analysis.Side]string{analysis.Lean: "cut", analysis.Rich: "pull"}[p.Side]
		}
		if want != does {
			does, since = want, now
		}
		stands := c.stalls > 0 && now > c.stalls && now < c.stalls+20*time.Second
		names, values := c.readings(does, (now - since).Seconds(), stands)
		if err := d.Write(j.Step(obd.Record{At: now, Row: &obd.Row{Names: names, Values: values}})); err != nil {
			t.Fatal(err)
		}
		if n := len(steps); tap != nil && n > 0 {
			tap(d, steps[n-1])
		}
		if k := d.Enter(); k != "" {
			t.Fatalf("a tap in a drive marks %q", k)
		}
	}
	j.Finish()
	return steps, last, now, j
}

// Two fuel cuts and two pulls in turn decide a sound sensor and a dead one; what the road does not allow, or is skipped, stays open and the drive ends.
func TestDriveIsLed(t *testing.T) {
	sound := map[string]float64{"cruise": 0.65, "cut": 0.05, "pull": 0.85}
	turn := []string{"lift_off", "hold_lean", "watch_release", "full_load", "hold_rich", "watch_release"}
	twice := append(append([]string{"check_ready"}, turn...), append(slices.Clone(turn), "done")...)
	lean := turn[:3]
	for _, c := range []struct {
		name   string
		driver driver
		tap    func(*Drive, string)
		steps  []string // nil: not compared
		most   time.Duration
		reason Reason
		want   analysis.Conclusion
	}{
		{"sound", driver{rear: sound}, nil, twice, 2 * time.Minute, "", analysis.PartlyProven},
		{"stuck rich", driver{rear: map[string]float64{"cruise": 0.75, "cut": 0.75, "pull": 0.75}}, nil, nil, 4 * time.Minute, "", analysis.SensorDead},
		{"no hill to climb", driver{rear: sound, refuses: analysis.Rich}, nil, nil, 21 * time.Minute, WhyLong, analysis.PartlyProven},
		{"no hill, and they say so", driver{rear: sound, refuses: analysis.Rich}, func(d *Drive, step string) {
			if step == "full_load" {
				d.Skip()
			}
		}, slices.Concat([]string{"check_ready"}, lean, []string{"full_load"}, lean, []string{"done"}), 2 * time.Minute, "", analysis.PartlyProven},
		{"the engine stops on the way", driver{rear: sound, stalls: 12 * time.Second}, nil, nil, 3 * time.Minute, "", analysis.PartlyProven},
	} {
		steps, last, took, j := c.driver.drive(t, c.tap)
		if c.steps != nil && !slices.Equal(steps, c.steps) {
			t.Errorf("%s: %v", c.name, steps)
		}
		if got := j.Verdict().Conclusion; got != c.want || took > c.most || last.Stage != StageDone || last.Reason != c.reason {
			t.Errorf("%s: %s after %v, %s %s, steps %v", c.name, got, took, last.Stage, last.Reason, steps)
		}
		if c.driver.stalls > 0 && !slices.Contains(steps[1:], "check_ready") {
			t.Errorf("%s: it went on: %v", c.name, steps)
		}
	}
}

// At every step of the road the caution of the road stands, and nothing is asked of who drives but the drive.
func TestDriveCautions(t *testing.T) {
	for _, stage := range []Stage{StageForce, StageHold, StageAnswer} {
		p := Prompt{Stage: stage, Side: analysis.Lean, Drive: true}
		if got := p.Hazards(analysis.ByFuelCut); !slices.Equal(got, []hazard.Kind{hazard.Road}) || p.AtWire() {
			t.Errorf("%s: hazards %v", stage, got)
		}
	}
}
