package session

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
	"pushback/decode"
	"pushback/obd"
)

// drive runs a guide through frames a quarter second apart; events and marks come
// at the given times. It returns the stages in the order of their beginning.
type drive struct {
	t      *testing.T
	g      *Guide
	stages []string
	last   Prompt
	over   bool
	now    time.Duration
}

func newDrive(t *testing.T, cfg GuideConfig) *drive {
	if cfg.Open == 0 {
		cfg.Open = -1
	}
	d := &drive{t: t}
	d.g = NewGuide(cfg, NewJudge(Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}}), func(p Prompt) {
		d.last = p
		if p.New {
			d.stages = append(d.stages, strings.TrimSpace(fmt.Sprintf("%v %s %s", p.At, p.Stage, p.Side)))
		}
	}, func() { d.over = true })
	return d
}

func (d *drive) until(at time.Duration) *drive {
	for ; d.now < at; d.now += 250 * time.Millisecond {
		d.frame(Frame{})
	}
	return d
}

func (d *drive) frame(f Frame) {
	f.Record.At = d.now
	if err := d.g.Write(f); err != nil {
		d.t.Fatal(err)
	}
}

func (d *drive) event(e analysis.Event) *drive {
	if e.T == 0 {
		e.T = d.now.Seconds()
	}
	d.frame(Frame{Events: []analysis.Event{e}})
	return d
}

func (d *drive) trim(v float64) *drive {
	d.frame(Frame{Samples: []decode.Sample{{Signal: decode.ByName("SHRTFT1"), Value: v}}})
	return d
}

func (d *drive) mark(k obd.MarkKind) *drive {
	d.frame(Frame{Record: obd.Record{Mark: &obd.Mark{Kind: k}}})
	return d
}

func (d *drive) want(stages ...string) {
	d.t.Helper()
	if got, want := strings.Join(d.stages, "\n"), strings.Join(stages, "\n"); got != want {
		d.t.Errorf("stages\n%s\nwant\n%s", got, want)
	}
}

const s = time.Second

// The steps advance by themselves when the watcher sees force and release.
func TestGuideFollowsTheWatcher(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.until(2 * s).event(analysis.Event{Name: analysis.Ready})
	d.until(20 * s).event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean, T: 19})
	d.until(34 * s)
	d.until(36 * s).event(analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean})
	d.event(analysis.Event{Name: analysis.SensorAnswers, Toward: "rich"})
	d.until(40 * s).event(analysis.Event{Name: analysis.SwitchingResumes})
	d.until(50 * s).event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Rich})
	d.until(60 * s).event(analysis.Event{Name: analysis.ForceEnds, Side: analysis.Rich})
	d.until(95 * s)
	d.want("0s ready", "2s baseline", "17s force lean", "20s hold lean", "34s release lean", "36s answer lean",
		"44s force rich", "50s hold rich", "1m0s answer rich", "1m30s force lean") // of which nothing was proven
	d.until(4 * 60 * s)
	if !d.over {
		t.Error("done was not called")
	}
}

// A force that the computer does not read moves on by the technician's marks, and
// ends without waiting for a sensor that cannot tell.
func TestGuideWithAnInputThatIsDead(t *testing.T) {
	d := newDrive(t, GuideConfig{Sides: []analysis.Side{analysis.Lean}})
	d.event(analysis.Event{Name: analysis.Ready}).until(16 * s)
	if k := d.g.Enter(); k != obd.MarkLean {
		t.Errorf("Enter makes the mark %q, want lean", k)
	}
	d.mark(obd.MarkLean).until(32 * s)
	if k := d.g.Enter(); k != obd.MarkRelease {
		t.Errorf("Enter makes the mark %q, want release", k)
	}
	d.mark(obd.MarkRelease).until(63 * s)
	d.want("0s baseline", "15s force lean", "16s hold lean", "32s answer lean", "40s wait", "1m2s force lean")
}

// A hold ends at 15 s; when trim answered and the delivery is open, at 25 s; at once
// when the computer leaves closed loop; and never after 30 s, whatever is asked.
func TestGuideHoldsNoLongerThanItShould(t *testing.T) {
	for _, tt := range []struct {
		name string
		cfg  GuideConfig
		then func(*drive)
		want string
	}{
		{"no answer", GuideConfig{}, func(*drive) {}, "31s release lean"},
		{"answer, delivery open", GuideConfig{}, func(d *drive) {
			d.event(analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean})
		}, "41s release lean"},
		{"answer, delivery open, trim far", GuideConfig{}, func(d *drive) {
			d.event(analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean}).trim(15)
		}, "41s release lean"},
		{"open loop", GuideConfig{}, func(d *drive) {
			d.until(20 * s).event(analysis.Event{Name: analysis.OpenLoop})
		}, "20s release lean"},
		{"asked for a minute", GuideConfig{HoldMost: time.Minute}, func(d *drive) {
			d.event(analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean})
		}, "46s release lean"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			d := newDrive(t, tt.cfg)
			d.event(analysis.Event{Name: analysis.Ready}).until(16 * s)
			d.event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean})
			tt.then(d)
			d.until(70 * s)
			if got := d.stages[3]; got != tt.want {
				t.Errorf("%s, want %s (%v)", got, tt.want, d.stages)
			}
		})
	}
}

func TestGuideWaitsForReadinessAndGivesUp(t *testing.T) {
	d := newDrive(t, GuideConfig{Ready: 20 * s})
	d.event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}}).until(30 * s)
	d.want("0s ready", "20s done")
}

func TestGuideSkipAndAgain(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.until(1 * s)
	d.g.Skip() // readiness
	d.until(2 * s)
	d.g.Skip() // baseline
	d.until(3 * s)
	d.g.Skip() // lean
	d.until(4 * s)
	d.g.Again() // lean after all
	d.until(5 * s)
	d.g.Skip()
	d.until(6 * s)
	d.g.Skip() // rich
	d.until(7 * s)
	d.want("0s ready", "1s baseline", "2s force lean", "3s force rich", "4s force lean", "5s force rich", "6s done")
}

// A step is repeated from where it is: what is held is let go first. No side is forced
// more than twice.
func TestGuideRepeatsWhatIsHeld(t *testing.T) {
	d := newDrive(t, GuideConfig{Sides: []analysis.Side{analysis.Lean}})
	d.event(analysis.Event{Name: analysis.Ready}).until(10 * s)
	d.g.Again() // baseline
	d.until(30 * s)
	d.g.Again() // baseline again, before the first force
	d.until(40 * s)
	d.g.Skip()
	d.until(50 * s).mark(obd.MarkLean).until(55 * s)
	d.g.Again() // the clip slipped
	d.until(56 * s).mark(obd.MarkRelease).until(65 * s)
	d.until(70 * s).mark(obd.MarkLean).until(75 * s)
	d.g.Again() // a third time: not
	d.until(76 * s)
	if !d.last.Twice {
		t.Error("it is not said why the side is not repeated")
	}
	d.mark(obd.MarkRelease).until(90 * s)
	d.want("0s baseline", "10s baseline", "24.75s force lean", "30s baseline", "40s force lean", "50s hold lean", "55s release lean",
		"56s answer lean", "1m4s force lean", "1m10s hold lean", "1m16s answer lean", "1m24s done")
}

// A loop that is not ready any more while hands are off is waited for again.
func TestGuideGoesBackToReadiness(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.event(analysis.Event{Name: analysis.Ready}).until(5 * s)
	d.event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}}).until(8 * s)
	d.event(analysis.Event{Name: analysis.Ready}).until(24 * s)
	d.want("0s baseline", "5s ready", "8s baseline", "23s force lean")
}

// A slow loop is held longer than a quick one, even when the delivery is proven.
func TestGuideGivesASlowLoopTime(t *testing.T) {
	for moved, want := range map[float64]bool{4: true, 12: false} {
		d := newDrive(t, GuideConfig{})
		d.trim(-2).event(analysis.Event{Name: analysis.Ready}).until(16 * s)
		d.event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}).trim(-2 + moved)
		if got := d.g.slow(); got != want {
			t.Errorf("trim moved %v %%: slow is %v, want %v", moved, got, want)
		}
		d.event(analysis.Event{Name: analysis.TrimAtLimit})
		if d.g.slow() {
			t.Errorf("trim moved %v %% to its limit: no more time brings more", moved)
		}
	}
}

// When the first force has driven the computer into open loop, the second waits for
// it to come back, and is not asked for when it does not.
func TestGuideDoesNotForceAnOpenLoop(t *testing.T) {
	for _, back := range []bool{true, false} {
		d := newDrive(t, GuideConfig{Ready: 20 * s})
		d.event(analysis.Event{Name: analysis.Ready}).until(16 * s)
		d.event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}).until(20 * s)
		d.event(analysis.Event{Name: analysis.OpenLoop}).until(21 * s)
		d.event(analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean}).until(30 * s)
		d.event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}}).until(60 * s)
		want := []string{"0s baseline", "15s force lean", "16s hold lean", "20s release lean", "21s answer lean", "26s wait"}
		if back {
			d.event(analysis.Event{Name: analysis.Ready})
			want = append(want, "1m0s force rich")
		} else {
			d.until(90 * s)
			want = append(want, "1m26s done")
		}
		d.want(want...)
	}
}

// A tap is a hint: late, twice or of the wrong side, the readings are believed.
func TestGuideBelievesTheReadings(t *testing.T) {
	begins := analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}
	ends := analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean}
	ready := func() *drive {
		return newDrive(t, GuideConfig{}).event(analysis.Event{Name: analysis.Ready}).until(16 * s)
	}
	start := []string{"0s baseline", "15s force lean"}
	t.Run("late", func(t *testing.T) {
		d := ready().event(begins).until(20 * s)
		if k := d.g.Enter(); k != obd.MarkLean {
			t.Errorf("the first tap says %q, want lean: it was seen before it was said", k)
		}
		d.mark(obd.MarkLean).until(20500 * time.Millisecond)
		if k := d.g.Enter(); k != "" {
			t.Errorf("a second tap at once says %q", k)
		}
		if k := d.until(25 * s).g.Enter(); k != obd.MarkRelease {
			t.Errorf("the next tap says %q, want release", k)
		}
		d.mark(obd.MarkRelease).until(28 * s)
		d.want(append(start, "16s hold lean")...) // it is still held, whatever was said
	})
	t.Run("early", func(t *testing.T) {
		d := ready().mark(obd.MarkLean).until(26 * s).event(begins).until(40 * s)
		d.want(append(start, "16s hold lean")...)
		d.until(42 * s)
		d.want(append(start, "16s hold lean", "41s release lean")...)
	})
	t.Run("wrong button", func(t *testing.T) {
		d := ready().mark(obd.MarkRich).until(18 * s).event(begins).until(30 * s).event(ends).until(61 * s)
		d.want(append(start, "16s hold rich", "18s hold lean", "30s answer lean", "1m0s force rich")...)
	})
	t.Run("slip", func(t *testing.T) {
		d := ready().event(begins).until(20 * s).event(ends).until(22 * s).event(begins).until(38 * s)
		d.want(append(start, "16s hold lean", "20s answer lean", "22s hold lean", "37s release lean")...)
	})
	t.Run("engine stops", func(t *testing.T) {
		d := ready().event(begins).until(20 * s)
		d.frame(Frame{Samples: []decode.Sample{{Signal: decode.ByName("RPM")}}})
		if d.last.Stage != StageRelease || d.last.Reason != WhyStalled {
			t.Errorf("asked for %s for %q", d.last.Stage, d.last.Reason)
		}
	})
	t.Run("nobody", func(t *testing.T) {
		d := ready().until(2 * 60 * s)
		d.want(append(start, "1m45s done")...)
	})
	t.Run("branch left open", func(t *testing.T) {
		d := ready().event(begins).until(30 * s).event(ends).until(34 * s).event(analysis.Event{Name: analysis.BranchOpen, Side: analysis.Lean})
		if d.last.Stage != StageWait || d.last.Reason != WhyBranch {
			t.Errorf("asked for %s for %q", d.last.Stage, d.last.Reason)
		}
	})
}

// The step lines have the names and fields that other programs rely on.
func TestStepLines(t *testing.T) {
	for _, tt := range []struct {
		p    Prompt
		by   analysis.By
		want string
	}{
		{Prompt{Stage: StageHold, Side: analysis.Lean, At: 23500 * time.Millisecond, Until: 38500 * time.Millisecond}, analysis.ByWire,
			`{"kind":"step","t":23.5,"step":"hold_lean","side":"lean","until_s":38.5,"caution":[]}`},
		{Prompt{Stage: StageAnswer, Side: analysis.Rich, At: s}, analysis.ByWire, `{"kind":"step","t":1,"step":"watch_release","side":"rich","caution":[]}`},
		{Prompt{Stage: StageWait, At: s, Reason: WhyBranch}, analysis.ByWire, `{"kind":"step","t":1,"step":"wait","caution":[` + quoted(hazard.Running) + `],"why":"branch"}`},
		{Prompt{Stage: StageAnswer, Side: analysis.Rich, At: s, Twice: true}, analysis.ByWire, `{"kind":"step","t":1,"step":"watch_release","side":"rich","caution":[],"refused":"repeat"}`},
		{Prompt{Stage: StageForce, Side: analysis.Rich, At: s}, analysis.ByMixture, `{"kind":"step","t":1,"step":"go_rich_mixture","side":"rich","caution":[` + quoted(hazard.Propane) + `]}`},
	} {
		if got, err := tt.p.StepJSON(tt.by); err != nil || string(got) != tt.want {
			t.Errorf("%s, %v\nwant %s", got, err, tt.want)
		}
	}
}

func quoted(k hazard.Kind) string { return fmt.Sprintf("%q", k.Caution()) }

func (d *drive) volts(v float64) *drive {
	d.frame(Frame{Samples: []decode.Sample{{Signal: decode.ByName(d.g.judge.setup.Sensor.Voltage()), Value: v}}})
	return d
}

// A sensor that switches passes through where an open input lies: its branch is not open for that. One
// that stays there is, until it is closed.
func TestGuideTellsAnOpenBranchFromSwitching(t *testing.T) {
	for _, stays := range []bool{false, true} {
		d := newDrive(t, GuideConfig{Open: 3 * s})
		d.event(analysis.Event{Name: analysis.Ready}).volts(0.45).mark(obd.MarkOpen).event(analysis.Event{Name: analysis.OpenLevel, Value: 0.45})
		said := false
		for i := 0; d.now < 20*s; i++ {
			d.until(d.now + s/4)
			v := []float64{0.45, 0.1, 0.45, 0.8}[i%4]
			if stays {
				v = 0.45
			}
			d.volts(v)
			said = said || d.last.Reason == WhyBranch
		}
		if said != stays {
			t.Errorf("reading stays at the open level: %v, said to be open: %v", stays, said)
		}
		if d.volts(0.1); stays {
			if d.until(d.now + 2*s); d.last.Reason == WhyBranch {
				t.Error("it is closed, and still said to be open")
			}
		}
	}
}

// What is waited for is said at once, and until when; what waiting cannot bring ends the test.
func TestGuideSaysWhatItWaitsFor(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.until(s).event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}})
	if d.last.At != s || d.last.Until != 3*time.Minute || len(d.last.Why) != 1 {
		t.Errorf("said %+v", d.last)
	}
	d = newDrive(t, GuideConfig{})
	d.frame(Frame{})
	gas := obd.Record{Exchange: &obd.Exchange{Request: obd.Request{Service: 0x01, Data: []byte{0x51}}, Outcome: obd.OK,
		Replies: []obd.Reply{{Data: []byte{0x41, 0x51, 0x05}}}}}
	d.g.judge.Step(gas)
	d.until(s).event(analysis.Event{Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(20.0)}})
	if !d.over || d.last.Reason != WhyNever {
		t.Errorf("over %v, because %q", d.over, d.last.Reason)
	}
}

// An engine that stops in a hold opens the loop first and is read to stand later: it is that which is said, and the
// next hold is not made shorter.
func TestGuideTellsAStalledEngineFromAComputerThatLetsGo(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.event(analysis.Event{Name: analysis.Ready}).until(16 * s)
	d.event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean}).until(26 * s)
	d.event(analysis.Event{Name: analysis.OpenLoop})
	if d.last.Stage != StageRelease {
		t.Fatalf("stage %s after the loop opened", d.last.Stage)
	}
	d.event(analysis.Event{Name: analysis.ForceEnds, Side: analysis.Lean})
	d.frame(Frame{Samples: []decode.Sample{{Signal: decode.ByName("RPM"), Value: 0}}})
	if d.until(d.now + s); d.last.Reason != WhyStalled || d.g.sides[analysis.Lean].limit != 0 {
		t.Errorf("said %q, the next hold at most %v", d.last.Reason, d.g.sides[analysis.Lean].limit)
	}
}

// Who says that they let go is not told to for as long as a hose takes to empty; then that the reading still lies there.
func TestGuideGivesTimeToLetGo(t *testing.T) {
	d := newDrive(t, GuideConfig{})
	d.event(analysis.Event{Name: analysis.Ready}).until(16 * s)
	d.event(analysis.Event{Name: analysis.ForceBegins, Side: analysis.Lean})
	for d.last.Stage != StageRelease && d.now < 120*s {
		d.until(d.now + s)
	}
	if d.until(d.now + 2*s); d.last.Let {
		t.Error("nobody has let go")
	}
	d.mark(obd.MarkRelease)
	if d.until(d.now + 2*s); !d.last.Let || d.last.Reason == WhyHeld {
		t.Errorf("a moment later: %+v", d.last)
	}
	if d.until(d.now + reactIn); d.last.Let || d.last.Reason != WhyHeld {
		t.Errorf("the reading lies there for long: %+v", d.last)
	}
}
