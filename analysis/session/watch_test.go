package session

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/scripttest"
	"pushback/decode"
	"pushback/obd"
)

// recorder is a watcher that says back what it was given, as the text of a code.
type recorder struct {
	watcher // of what a test does not use
	name    string
}

func (r recorder) say(what ...any) []analysis.Event {
	return []analysis.Event{{Name: analysis.CodeSet, Code: r.name + " " + fmt.Sprint(what...)}}
}

func (r recorder) Step(s decode.Sample) []analysis.Event { return r.say(s.Signal.Name) }
func (r recorder) Mark(at time.Duration, side analysis.Side) []analysis.Event {
	return r.say(at, " ", side)
}
func (r recorder) Release(at time.Duration) []analysis.Event { return r.say(at, " release") }
func (r recorder) Open(at time.Duration) []analysis.Event    { return r.say(at, " open") }
func (r recorder) Finish(at time.Duration) []analysis.Event  { return r.say(at, " end") }
func (r recorder) Gap(from, to time.Duration, cause string) []analysis.Event {
	return r.say("gap ", from, " ", to, " ", cause)
}
func (r recorder) Codes(at time.Duration, service byte, codes []string) []analysis.Event {
	return r.say(at, " ", service, " ", codes)
}
func (r recorder) Asked(at time.Duration, side analysis.Side, open bool) []analysis.Event {
	return r.say(at, " asked ", side, " ", open)
}

// unguided is a recorder to which it does not matter what a guide asked for.
type unguided struct{ watcher }

// played judges a script of rows of names and of marks, and returns the kind of sensor that was told and what the
// watchers said, in order.
func played(t *testing.T, setup Setup, script string) (decode.Kind, string) {
	t.Helper()
	j := NewJudge(setup)
	j.watch.both = [2]watcher{recorder{name: "narrow"}, unguided{recorder{name: "wide"}}}
	var said []string
	take := func(f Frame) {
		for _, e := range f.Events {
			said = append(said, e.Code)
		}
	}
	for _, step := range scripttest.Steps(t, script) {
		rec := obd.Record{At: step.At}
		switch words := strings.Fields(step.Words); words[0] {
		case "says":
			rec.Mark = &obd.Mark{Kind: obd.MarkKind(words[1])}
		case "step":
			rec.Mark = &obd.Mark{Kind: obd.MarkStep, Text: words[1]}
		default:
			rec.Row = &obd.Row{Names: words, Values: make([]float64, len(words))}
		}
		take(j.Step(rec))
	}
	take(j.Finish())
	return j.Kind(), strings.Join(said, ", ")
}

// Both watchers see a session until the first reading of the sensor tells its kind; then one is heard, from the beginning.
func TestKindIsToldByTheReadings(t *testing.T) {
	b1s1 := Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}, By: analysis.ByWire}
	rear := Setup{Sensor: decode.SensorID{Bank: 1, Position: 2}, By: analysis.ByWire}
	for _, c := range []struct {
		name, script string
		setup        Setup
		kind         decode.Kind
		first        string // what is said first of all
	}{
		{"a voltage", "1s RPM; 2s O2S11", b1s1, decode.Narrow, "narrow RPM"},
		{"a ratio", "1s RPM; 2s EQ_RAT11", b1s1, decode.WideRange, "wide RPM"},
		{"both in one record", "1s O2S11 EQ_RAT11", b1s1, decode.WideRange, "wide O2S11"},
		{"another sensor's", "1s O2S21; 2s EQ_RAT21; 3s O2S11", b1s1, decode.Narrow, "narrow O2S21"},
		{"nothing of it", "1s RPM; 2s RPM", b1s1, decode.Narrow, "narrow RPM"},
		{"behind the catalyst, upstream a voltage", "1s O2S12; 2s O2S11", rear, decode.Narrow, "narrow O2S12"},
		{"behind the catalyst, upstream a ratio", "1s O2S12; 5s EQ_RAT11", rear, decode.WideRange, "wide O2S12"},
		{"behind the catalyst, upstream a little later than twice", "1s O2S12; 3s O2S12; 5s EQ_RAT11", rear, decode.WideRange, "wide O2S12"},
		{"behind the catalyst, upstream not at all", "1s O2S12; 6s O2S12; 7500ms O2S12", rear, decode.Narrow, "narrow O2S12"},
	} {
		kind, said := played(t, c.setup, c.script)
		if first, _, _ := strings.Cut(said, ","); kind != c.kind || first != c.first {
			t.Errorf("%s: %v, first %q of %q; want %v, %q", c.name, kind, first, said, c.kind, c.first)
		}
		if who := strings.Fields(c.first)[0]; strings.Count(said, who+" ") != strings.Count(said, ",")+1 {
			t.Errorf("%s: another than %s is heard: %s", c.name, who, said)
		}
	}
}

// Nothing of what a session says is lost, whoever is heard: a mark and a step before the kind is known too.
func TestMarksReachTheWatchers(t *testing.T) {
	setup := Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}, By: analysis.ByWire}
	const script = "1s says lean; 2s says release; 3s says open; 4s step go_rich; 5s step open_level; 6s step hold_rich; 7s step release_now; 8s step done; 9s says rich; 10s says note; 11s O2S11"
	if _, said := played(t, setup, script); said != "narrow 1s lean, narrow 2s release, narrow 3s open, narrow 4s asked rich false, "+
		"narrow 5s asked  true, narrow 6s asked rich false, narrow 8s asked  false, narrow 9s rich, narrow O2S11, narrow 11s end" {
		t.Error(said)
	}
	// To the other kind it does not matter what a guide asks for.
	if _, said := played(t, setup, "1s says lean; 3s says open; 4s step go_rich; 5s EQ_RAT11; 6s says release"); said !=
		"wide 1s lean, wide EQ_RAT11, wide 6s release, wide 6s end" {
		t.Error(said)
	}
}

// A wide reading that comes after a narrow one counts: who shows both shows a narrow one for older scan tools. The watcher
// then begins anew, since what it needs was not kept.
func TestAWideReadingCountsWhenItComes(t *testing.T) {
	j := NewJudge(Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}})
	for i, name := range []string{"O2S11", "O2S11", "EQ_RAT11", "O2S11"} {
		j.Step(obd.Record{At: time.Duration(i) * s, Row: &obd.Row{Names: []string{name}, Values: []float64{0.5}}})
		if want := []decode.Kind{decode.Narrow, decode.Narrow, decode.WideRange, decode.WideRange}[i]; j.Kind() != want {
			t.Errorf("after %d readings %v, want %v", i+1, j.Kind(), want)
		}
	}
}

// What is forced: what was said; where nothing was, the wire of a narrow sensor and the mixture of a wide one, whose wire
// nobody holds.
func TestByFollowsTheKind(t *testing.T) {
	for _, c := range []struct {
		sensor, by, signal string
		want               analysis.By
	}{
		{"", "", "O2S11", analysis.ByWire},
		{"", "", "EQ_RAT11", analysis.ByMixture},
		{"B1S1", "wire", "EQ_RAT11", analysis.ByWire},
		{"B1S1", "mixture", "O2S11", analysis.ByMixture},
		{"B2S1", "", "EQ_RAT21", analysis.ByMixture},
		{"B1S2", "", "EQ_RAT11", analysis.ByWire}, // its own wire is a narrow sensor's
		{"B2S1", "", "EQ_RAT11", analysis.ByWire}, // of another bank: it tells nothing of this one
	} {
		setup, err := NewSetup(c.sensor, c.by, obd.Format{})
		if err != nil {
			t.Fatal(err)
		}
		j := NewJudge(setup)
		j.Step(obd.Record{Row: &obd.Row{Names: []string{c.signal}, Values: []float64{1}}})
		if got := j.By(); got != c.want {
			t.Errorf("%s by %q, read by %s: forced by %s, want %s", c.sensor, c.by, c.signal, got, c.want)
		}
	}
	for _, wrong := range [][2]string{{"B3", ""}, {"S1", ""}, {"B1S1", "hammer"}, {"", "Wire"}} {
		if _, err := NewSetup(wrong[0], wrong[1], obd.Format{}); err == nil {
			t.Errorf("%q is a setup", wrong)
		}
	}
}

// What a step of the guide asks for is told by its name, for each way of forcing.
func TestAsksForTheSideOfEachStep(t *testing.T) {
	for _, by := range []analysis.By{analysis.ByWire, analysis.ByMixture, analysis.ByFuelCut} {
		for _, side := range []analysis.Side{analysis.Lean, analysis.Rich} {
			if by == analysis.ByFuelCut && side == analysis.Rich {
				continue // it cuts no other way
			}
			for _, stage := range []Stage{StageReady, StageBaseline, StageOpen, StageForce, StageHold, StageRelease, StageAnswer, StageWait, StageDone} {
				got, told := asksFor(Prompt{Stage: stage, Side: side}.Step(by))
				want := analysis.Side("")
				if stage == StageForce || stage == StageHold {
					want = side
				}
				if got != want || told != (stage != StageRelease) {
					t.Errorf("%s, %s %s: asks for %q (%v), want %q", by, stage, side, got, told, want)
				}
			}
		}
	}
}
