package live_test

import (
	"math"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/sessiontest"
	"pushback/decode"
	"pushback/obd"
)

// show is a state as a view.
type show struct{ *live.State }

func (s show) Prompt(p session.Prompt) { s.Told(p) }

func newShow(p *sessiontest.Play) show { return show{live.NewState(sessiontest.B1S1, p.Verdict)} }

func arcs(r ring.Ring) map[analysis.ProofID]string {
	out := map[analysis.ProofID]string{}
	for _, a := range r.Arcs() {
		text := string(a.State)
		if a.Open() {
			text = "open"
		}
		out[a.ID] = text
	}
	return out
}

// The ring of a sound car fills in the order in which the test proves its arcs, and
// at the end it is the verdict's.
func TestRingFills(t *testing.T) {
	play := sessiontest.Guided(t, "healthy", time.Second)
	s := newShow(play)
	check := func(when string, want map[analysis.ProofID]string) {
		t.Helper()
		got := arcs(s.Ring)
		for id, w := range want {
			if got[id] != w {
				t.Errorf("%s: %s is %s, want %s", when, id, got[id], w)
			}
		}
	}
	play.Until(s, sessiontest.Stage(session.StageBaseline, "", 10*time.Second))
	for id, state := range arcs(s.Ring) {
		if state != string(analysis.Untested) {
			t.Errorf("before any force: %s is %s", id, state)
		}
	}
	if s.Phase != live.Idle || len(s.Holds) != 0 || s.Ready == nil || !*s.Ready {
		t.Errorf("before any force: phase %d, %d holds, ready %v", s.Phase, len(s.Holds), s.Ready)
	}

	play.Until(s, sessiontest.Event(analysis.ForceBegins))
	check("forced lean", map[analysis.ProofID]string{analysis.ProofInput: "proven", analysis.ProofDelivery: "open",
		analysis.ProofCutsFuel: "untested", analysis.ProofSensorRich: "untested"})
	if s.Phase != live.Held || s.Side != analysis.Lean || !s.Seen || len(s.Holds) != 1 || !s.Holds[0].Open {
		t.Errorf("forced lean: %+v", s.Holds)
	}

	play.Until(s, sessiontest.Stage(session.StageHold, analysis.Lean, 8*time.Second))
	check("held lean", map[analysis.ProofID]string{analysis.ProofAddsFuel: "proven", analysis.ProofDelivery: "open", analysis.ProofSensorRich: "untested"})

	play.Until(s, sessiontest.Event(analysis.ForceEnds))
	check("released", map[analysis.ProofID]string{analysis.ProofAddsFuel: "proven", analysis.ProofSensorLean: "untested"})
	if s.Phase != live.Released || s.Holds[0].Open || s.Holds[0].To <= s.Holds[0].From {
		t.Errorf("released: phase %d, %+v", s.Phase, s.Holds)
	}

	play.Until(s, nil)
	if got, want := s.Ring, ring.Of(*s.Verdict); got != want {
		t.Errorf("at the end the ring is\n%+v, the verdict's is\n%+v", got, want)
	}
	check("at the end", map[analysis.ProofID]string{analysis.ProofInput: "proven", analysis.ProofAddsFuel: "proven", analysis.ProofCutsFuel: "proven",
		analysis.ProofDelivery: "proven", analysis.ProofSensorRich: "proven", analysis.ProofSensorLean: "proven", analysis.ProofBank: "proven", analysis.ProofRecovery: "proven"})
	if len(s.Holds) != 2 || s.Holds[1].Side != analysis.Rich || s.Holds[1].Open {
		t.Errorf("holds %+v", s.Holds)
	}
}

// Progress shows while an arc is tested, and never looks like proof.
func TestProgressIsNoProof(t *testing.T) {
	play := sessiontest.Guided(t, "slow-integrator", time.Second)
	s := newShow(play)
	partly := false
	play.Until(s, func(sessiontest.Moment) bool {
		for _, a := range s.Ring.Arcs() {
			if a.Fill >= 1 && (a.State == analysis.Untested || a.Open()) {
				t.Errorf("%v: %s is drawn full and is %s", s.Now, a.ID, a.State)
				return true
			}
			partly = partly || a.Fill > 0 && a.Fill < 1
		}
		return false
	})
	if !partly {
		t.Error("no arc ever filled in part")
	}
}

func frame(at time.Duration, name string, v float64, missing bool) session.Frame {
	return session.Frame{Record: obd.Record{At: at}, Samples: []decode.Sample{{Signal: decode.ByName(name), Sent: at, Received: at, Value: v, Missing: missing}}}
}

func nothing() analysis.Verdict { return analysis.Verdict{} }

// A reading that does not come breaks the line and grows old; it never goes on as if.
func TestStateGrowsStale(t *testing.T) {
	s := live.NewState(sessiontest.B1S1, nothing)
	for i := range 10 {
		_ = s.Write(frame(time.Duration(i)*500*time.Millisecond, "O2S11", 0.8, false))
	}
	if s.Reads() != analysis.Rich || s.Silent() != 0 || math.Abs(s.Rate()-2) > 0.01 {
		t.Errorf("fresh: reads %q, silent %v, %.2f readings/s", s.Reads(), s.Silent(), s.Rate())
	}
	_ = s.Write(frame(6*time.Second, "O2S11", 0, true))
	_ = s.Write(frame(8*time.Second, "RPM", 700, false))
	if s.Reads() != "" || s.Silent() != 3500*time.Millisecond || !math.IsNaN(s.VTrace[len(s.VTrace)-1].Value) {
		t.Errorf("stale: reads %q, silent %v, trace ends %v", s.Reads(), s.Silent(), s.VTrace[len(s.VTrace)-1])
	}
	_ = s.Write(session.Frame{Record: obd.Record{At: 9 * time.Second, Exchange: &obd.Exchange{Outcome: obd.LinkLost}}})
	if !s.Lost {
		t.Error("a lost line is not shown")
	}
}

// A force that only a mark tells of is held, but not seen.
func TestMarkedForce(t *testing.T) {
	s := live.NewState(sessiontest.B1S1, nothing)
	_ = s.Write(session.Frame{Record: obd.Record{At: time.Second, Mark: &obd.Mark{Kind: obd.MarkRich}}})
	if s.Phase != live.Held || s.Side != analysis.Rich || s.Seen || len(s.Holds) != 0 {
		t.Errorf("phase %d %s, seen %v, holds %v", s.Phase, s.Side, s.Seen, s.Holds)
	}
	_ = s.Write(session.Frame{Record: obd.Record{At: 9 * time.Second, Mark: &obd.Mark{Kind: obd.MarkRelease}}})
	if s.Phase != live.Released {
		t.Errorf("phase %d after the release", s.Phase)
	}
	_ = s.Write(frame(60*time.Second, "RPM", 700, false))
	if s.Phase != live.Idle {
		t.Errorf("phase %d long after the release", s.Phase)
	}
}

// Eight hours do not grow the traces without bound.
func TestStateIsBounded(t *testing.T) {
	s := live.NewState(sessiontest.B1S1, nothing)
	for at := time.Duration(0); at < 8*time.Hour; at += 200 * time.Millisecond {
		_ = s.Write(frame(at, "O2S11", 0.4, false))
	}
	if n, most := len(s.VTrace), int(2*live.Kept/(200*time.Millisecond))+64; n > most || n < int(live.Kept/(200*time.Millisecond)) {
		t.Errorf("%d points are kept, at most %d wanted", n, most)
	}
}
