package wide

import (
	"math"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/decode"
)

// Trim that stands as far as it goes cannot answer that way, and is no dead command; short of that, or on the other side, it is one.
func TestAtLimit(t *testing.T) {
	w := New(analysis.Config{By: analysis.ByMixture})
	for _, v := range []float64{0, 24.2, -3, 11} {
		w.fig.short(v, true)
	}
	for _, c := range []struct {
		side  analysis.Side
		short float64
		want  bool
	}{{analysis.Lean, 24.2, true}, {analysis.Lean, 23.4, true}, {analysis.Lean, 11, false}, {analysis.Rich, 24.2, false}, {analysis.Rich, -3, false}} {
		if got := w.atLimit(c.side, c.short); got != c.want {
			t.Errorf("%s at %g %%: %v", c.side, c.short, got)
		}
	}
}

// Where the computer drove trim to its limit and the mixture did not follow, that is said, and not that it does not answer.
func TestLimitIsNotSilence(t *testing.T) {
	w := New(analysis.Config{By: analysis.ByMixture})
	r := w.newRing()
	r.command(&force{side: analysis.Lean, sign: -1, absence: absence{limit: 24}})
	r.silence()
	if p := r.by[analysis.ProofAddsFuel]; p.State != analysis.Unclear || p.Why[0].Code != reason.NoFurther {
		t.Errorf("%s, %v", p.State, p.Why)
	}
}

// A target that swings by 4 %, and that the computer feeds forward, hides no answer of trim, and is none where trim stands.
func TestSwingingTarget(t *testing.T) {
	id := decode.SensorID{Bank: 1, Position: 1}
	ramp := func(x float64) float64 { return min(max(x, 0), 1) }
	for _, moves := range []float64{0.06, 0} {
		command := func(at float64) float64 { return 1 + 0.02*math.Sin(2*at) }
		trim := func(at float64) float64 { return -moves * ramp((at-41)/5) }
		w := New(analysis.Config{By: analysis.ByMixture})
		for at := 0.0; at < 55; at += 0.2 {
			if at > 40 && len(w.told) == 0 {
				w.Mark(time.Duration(at*1e9), analysis.Rich)
			}
			for _, v := range []struct {
				name  string
				value float64
			}{{id.Trim(), 100 * trim(at)}, {"EQ_RAT", command(at)}, {id.Status(), 2},
				{id.Ratio(), command(at-usualDelay) / (1 + 0.07*ramp((at-40)/0.5) + trim(at-usualDelay))}} {
				w.Step(decode.Sample{Signal: decode.ByName(v.name), Sent: time.Duration(at * 1e9), Received: time.Duration((at + 0.02) * 1e9), Value: v.value})
			}
		}
		if n := len(w.forces); n != 1 {
			t.Fatalf("trim moves by %g: %d forces", moves, n)
		}
		if got := w.forces[0].answered; got != (moves > 0) {
			t.Errorf("trim moves by %g: answered %v", moves, got)
		}
	}
}

// What lag the forces leave open is said, and how likely a slow sensor is, each way.
func TestLagIsSaid(t *testing.T) {
	w := New(analysis.Config{By: analysis.ByMixture})
	w.now = 100
	f := good(analysis.Rich)
	f.fit.Tau, f.fit.TauLow, f.fit.TauHigh, f.fit.Lags = 0.2, 0.05, 0.8, lagsLike(0.9, 0.1, 1)
	w.forces = []force{f}
	said := map[reason.Code][]any{}
	for _, r := range w.Reasons() {
		said[r[0].Code] = r[0].Figures
	}
	if v := said[reason.LagOpen]; len(v) != 2 || math.Abs(v[0].(float64)-0.05) > 0.01 || math.Abs(v[1].(float64)-0.8) > 0.01 {
		t.Errorf("lag left open: %v", v)
	}
	if v := said[reason.LagOdds]; len(v) != 3 || v[0].(float64) < 1 || v[1].(float64) > -1 || v[2].(float64) < 1 {
		t.Errorf("odds: %v", v)
	}
}
