package wide

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/analysis/recent"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

// reads is a watcher of bank 1 that has read what scripts say, without judging it.
func reads(t *testing.T, scripts ...string) *Watcher {
	t.Helper()
	w := New(analysis.Config{By: analysis.ByMixture})
	into := map[string]*recent.Series{"lambda": &w.own.lambda, "trim": &w.own.trim, "long": &w.own.long, "rear": &w.own.rear, "rearLambda": &w.own.rearLambda,
		"command": &w.command, "status": &w.status, "rpm": &w.rpm}
	for _, script := range scripts {
		name, script, _ := strings.Cut(script, " ")
		for _, p := range scripttest.Points(t, script) {
			into[name].Add(recent.Reading{Lo: p.At, Hi: p.At, V: p.Value})
			w.now = max(w.now, p.At)
		}
	}
	return w
}

// What the computer learns goes from short-term trim into long-term trim in one moment: that is where short-term trim steps the other
// way, though long-term trim is read some seconds later. Without such a step it is half way between the readings.
func TestLearned(t *testing.T) {
	for _, c := range []struct {
		name, trim, long string
		at               float64 // s, the first reading with the new one; 0: never
		was, is          float64
	}{
		{"never read", "0s..20s/1s 3", "", 0, 0, 0},
		{"it stays", "0s..20s/1s 3", "2s 5; 12s 5", 0, 5, 5},
		{"it steps down by as much", "0s..6s/1s 6; 7s..20s/1s 2", "2s 5; 12s 9", 7, 5, 9},
		{"it steps up", "0s..8s/1s -6; 9s..20s/1s -2", "2s 0; 12s -4", 9, 0, -4},
		{"the largest step of two", "0s..4s/1s 6; 5s..6s/1s 4; 7s..20s/1s 0", "2s 5; 12s 10", 7, 5, 10},
		{"no step: half way", "0s..20s/1s 3", "2s 5; 12s 9", 7, 5, 9},
		{"a step the same way is another thing", "0s..4s/1s 2; 5s..20s/1s 6", "2s 5; 12s 9", 7, 5, 9},
		{"before the first reading", "0s..1s/1s 3", "2s 5; 12s 9", 0, 5, 9},
	} {
		scripts := []string{"trim " + c.trim}
		if c.long != "" {
			scripts = append(scripts, "long "+c.long)
		}
		w := reads(t, scripts...)
		for i := range w.own.trim.Len() {
			want := c.was
			if at := w.own.trim.At(i).T(); c.at > 0 && at >= c.at {
				want = c.is
			}
			if got := w.own.learned(i); got != want {
				t.Errorf("%s: %g %% at %g s, want %g", c.name, got, w.own.trim.At(i).T(), want)
			}
		}
	}
}

// What the estimate is given: the excess of fuel that λ means (λ 0.8 is 25 % too much), and commanded fuel as the product of both
// trims and what the computer feeds forward; by hand, 1.0625 · 1.04 = 1.105, and at a commanded λ of 0.85 that over 0.85 is 1.3.
func TestTrace(t *testing.T) {
	const trim, long, lambda = "trim 10s..30s/500ms 6.25", "long 10s 4; 30s 4", "lambda 10s..19.8s/200ms 1; 20s..30s/200ms 0.8"
	w := reads(t, lambda, trim, long, "command 9s..30s/1s 0.85")
	for _, c := range []struct {
		fed  bool
		u, f float64
	}{{false, 0.105, 1}, {true, 0.3, 1 / 0.85}} {
		tr, varies := w.trace(&w.own, 15, 25, c.fed)
		if varies || tr.YT[0] < 15-1e-9 || tr.YT[len(tr.YT)-1] > 25+1e-9 || tr.UT[0] < 12-1e-9 || tr.UT[0] > 12.5 {
			t.Errorf("fed %v: from %g to %g s, trim from %g s, varies %v", c.fed, tr.YT[0], tr.YT[len(tr.YT)-1], tr.UT[0], varies)
		}
		if first, last := tr.Y[0], tr.Y[len(tr.Y)-1]; first != 0 || math.Abs(last-0.25) > 1e-9 {
			t.Errorf("fed %v: λ of 1 is %g, of 0.8 %g", c.fed, first, last)
		}
		for i := range tr.U {
			if math.Abs(tr.U[i]-c.u) > 1e-6 || math.Abs(tr.F[i]-c.f) > 1e-9 {
				t.Fatalf("fed %v: fuel of %g by a factor of %g, want %g and %g", c.fed, tr.U[i], tr.F[i], c.u, c.f)
			}
		}
	}
	w = reads(t, lambda, trim, "command 9s..19s/1s 1; 20s..30s/1s 0.98")
	if _, varies := w.trace(&w.own, 15, 25, true); !varies {
		t.Error("a commanded ratio that moves by 2 % stands")
	}
	if _, varies := w.trace(&w.own, 21, 25, true); varies {
		t.Error("it does not move after 21 s")
	}
}

// What trim had made of a force, worked by hand: 8 % of fuel came in at 20 s, trim took out 7.8125 (ten counts) by 25 s and put them back
// by 45 s; on the release λ went 8 % the other way. The same holds for air, where all is the other way.
func TestMeasure(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		turned := func(phi float64) float64 { return 1 / (1 + sign*phi) }
		w := reads(t)
		for at := 10.0; at < 60; at += 0.25 {
			trim, phi := 0.0, 0.0
			switch {
			case at >= 25 && at < 36:
				trim = -7.8125
			case at >= 20 && at < 25:
				phi = 0.08
			}
			if at >= 35 && at < 40 {
				phi = -0.08
			}
			w.own.trim.Add(recent.Reading{Lo: at, Hi: at, V: sign * trim})
			w.own.lambda.Add(recent.Reading{Lo: at, Hi: at, V: turned(phi)})
			w.now = at
		}
		f := good(analysis.Rich)
		if f.sign = sign; sign < 0 {
			f = good(analysis.Lean)
		}
		w.measure(&f)
		for _, v := range []struct {
			name      string
			got, want float64
		}{{"taken out at the end", f.made.end, 0.078125}, {"came back", f.made.came, 0.078125}, {"over, on the release", f.made.over, 0.08}, {"off at the end", f.made.off, 0}} {
			if math.Abs(v.got-v.want) > 2e-3 {
				t.Errorf("towards %+g: %s is %.4f, want %.4f", sign, v.name, v.got, v.want)
			}
		}
	}
	w := reads(t, "lambda 0s..30s/1s 1")
	f := good(analysis.Rich)
	if got := w.movedAt(&f, 30); got != 0 {
		t.Errorf("trim that was never read has moved by %g", got)
	}
	if f.span = (span{begin: 20}); f.ended() || endOr(&f, 33) != 33 {
		t.Errorf("a force that runs has ended at %g s", endOr(&f, 33))
	}
}

// The sensor behind the catalyst. A narrow one reads some 0.85 V rich and 0.08 V lean (thermodynamic equilibrium at 900 K: 0.875 V at
// λ 0.98, 0.077 V at 1.02); a wide one leaves its ratio.
func TestRearWent(t *testing.T) {
	for _, c := range []struct {
		name, script     string
		rich, lean, read bool
	}{
		{"not read", "", false, false, false},
		{"goes rich", "rear 0s..9s/1s 0.6; 10s..20s/1s 0.85", true, false, true},
		{"goes lean", "rear 0s..9s/1s 0.6; 10s..20s/1s 0.08", false, true, true},
		{"stays", "rear 0s..20s/1s 0.65", false, false, true},
		{"lay rich before", "rear 0s..9s/1s 0.8; 10s..20s/1s 0.86", false, false, true},
		{"lay lean before", "rear 0s..9s/1s 0.15; 10s..20s/1s 0.06", false, false, true},
		{"one reading of eleven", "rear 0s..9s/1s 0.6; 10s..12s/1s 0.6; 13s 0.85; 14s..20s/1s 0.6", false, false, true},
		{"one of five that are seldom read", "rear 0s 0.6; 5s 0.6; 10s 0.6; 12s 0.85; 15s 0.6; 18s 0.6; 20s 0.6", true, false, true},
		{"too seldom", "rear 0s 0.6; 5s 0.6; 10.5s 0.85; 18s 0.85", false, false, false},
		{"no rest to compare with", "rear 11s..20s/1s 0.85", false, false, false},
		{"a wide one, rich", "rearLambda 0s..9s/1s 1; 10s..20s/1s 0.98", true, false, true},
		{"a wide one, lean", "rearLambda 0s..9s/1s 1; 10s..20s/1s 1.02", false, true, true},
		{"a wide one that stays", "rearLambda 0s..9s/1s 1; 10s..20s/1s 1.008", false, false, true},
		{"a wide one, once", "rearLambda 0s..9s/1s 1; 10s..12s/1s 1; 13s 0.9; 14s..20s/1s 1", false, false, true},
	} {
		var scripts []string
		if c.script != "" {
			scripts = append(scripts, c.script)
		}
		w := reads(t, scripts...)
		for _, rich := range []bool{true, false} {
			want := c.lean
			if rich {
				want = c.rich
			}
			if went, read := w.own.rearWent(rich, 0, 9.5, 20); went != want || read != c.read {
				t.Errorf("%s: went rich (%v): %v, read %v", c.name, rich, went, read)
			}
		}
	}
}

// The bits of PID 03 by SAE J1979: 01 open, cold; 02 closed; 04 open, driving; 08 open, fault; 10 closed, fault. 00: not in use.
func TestClosedLoopBits(t *testing.T) {
	for status, want := range map[float64]bool{0: false, 1: false, 2: true, 4: false, 8: false, 16: true} {
		if isClosed(status) != want {
			t.Errorf("status %02X is closed: %v", int(status), !want)
		}
	}
}

// An engine runs evenly within a quarter and 50 rpm of its slowest, from two seconds before; an open loop is not even.
func TestSteady(t *testing.T) {
	for _, c := range []struct {
		name    string
		scripts []string
		want    bool
	}{
		{"nothing read", nil, true},
		{"idle that hunts", []string{"rpm 10s..30s/1s 800->900"}, true},
		{"a quarter and 50 more", []string{"rpm 10s..19s/1s 800; 20s..30s/1s 1050"}, true},
		{"above that", []string{"rpm 10s..19s/1s 800; 20s..30s/1s 1051"}, false},
		{"the rise was before", []string{"rpm 10s..17s/1s 2500; 18s..30s/1s 800"}, true},
		{"the rise was just before", []string{"rpm 10s..18s/1s 2500; 19s..30s/1s 800"}, false},
		{"it stands", []string{"rpm 10s..30s/1s 0"}, false},
		{"below what turns by itself", []string{"rpm 10s..30s/1s 399"}, false},
		{"just turning", []string{"rpm 10s..30s/1s 400"}, true},
		{"closed", []string{"rpm 10s..30s/1s 800", "status 10s..30s/1s 2"}, true},
		{"open for a moment", []string{"rpm 10s..30s/1s 800", "status 10s..24s/1s 2; 25s 4; 26s..30s/1s 2"}, false},
		{"open just before", []string{"status 10s..17s/1s 2; 18.5s 4; 20s..30s/1s 2"}, false},
		{"open long before", []string{"status 10s..17s/1s 4; 18s..30s/1s 2"}, true},
	} {
		if got := reads(t, c.scripts...).steady(20, 30); got != c.want {
			t.Errorf("%s: steady %v", c.name, got)
		}
	}
}

// A car is ready exactly when nothing is said to be unmet, and a reason never comes without one; whatever is read, in whatever order.
func TestReadyIffNothingIsUnmet(t *testing.T) {
	values := map[string]*rapid.Generator[float64]{"ECT": rapid.SampledFrom([]float64{-40, 59, 60, 61, 64, 90}), "RPM": rapid.SampledFrom([]float64{0, 399, 400, 800, 6000}),
		"FUELSYS1": rapid.SampledFrom([]float64{0, 1, 2, 4, 8, 16}), "FUEL_TYP": rapid.SampledFrom([]float64{1, 4}), "EQ_RAT11": rapid.Float64Range(0.8, 1.3)}
	names := []string{"ECT", "RPM", "FUELSYS1", "FUEL_TYP", "EQ_RAT11"}
	rapid.Check(t, func(t *rapid.T) {
		by := rapid.SampledFrom([]analysis.By{analysis.ByMixture, analysis.ByWire, analysis.ByFuelCut}).Draw(t, "by")
		w := New(analysis.Config{By: by})
		for i := range rapid.IntRange(1, 25).Draw(t, "readings") {
			name := rapid.SampledFrom(names).Draw(t, "name")
			at := time.Duration(i) * time.Second
			for _, e := range w.Step(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: values[name].Draw(t, "value")}) {
				if e.Name == analysis.NotReady && len(e.Reasons) == 0 || e.Name == analysis.Ready && len(e.Reasons) > 0 {
					t.Fatalf("%s because of %v", e.Name, e.Reasons)
				}
			}
			if unmet := w.unmet(); w.holds() != (len(unmet) == 0) {
				t.Fatalf("holds %v, unmet %v", w.holds(), unmet)
			}
			if now, always := w.Barred(); always && !now || by == analysis.ByWire && !always {
				t.Fatalf("barred %v, for ever %v, by %s", now, always, by)
			}
		}
	})
}

// What all that trim did says of the gain counts the less, the farther it lies from what the answer to the disturbance says: a loop that
// answers its own noise draws it either way.
func TestGainsJoin(t *testing.T) {
	for _, c := range []struct {
		answer, half, whole float64 // half of the interval of the one
		least, most         float64 // of both
	}{
		{1, 0.4, 1, 1, 1},
		{1, 0.4, 0.8, 0.89, 0.91}, // 0.2 off as the one's own standard deviation, 0.4/1.96
		{1, 0.4, 0.9, 0.93, 0.97},
		{1, 0.4, 2, 1, 1.05},
		{1, 1, 2, 1.1, 1.3},
		{0.5, 0.2, 1.1, 0.5, 0.55},
	} {
		e := Estimate{G: c.answer, GLow: c.answer - c.half, GHigh: c.answer + c.half}
		e.join(c.whole)
		if e.G < c.least || e.G > c.most || e.GHigh-e.GLow < 2*c.half*0.9 {
			t.Errorf("%+v: %.3f (%.3f to %.3f)", c, e.G, e.GLow, e.GHigh)
		}
	}
}
