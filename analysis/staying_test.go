package analysis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/analysis/reason"
	"pushback/decode"
)

// part is a part of a recording, to a time, s: the reading, with what trembles about it, V, and trim, %, from which to which.
type part struct {
	until, volts, trembles float64
	from, to               float64
	long                   float64 // long-term trim, %
}

// playParts has a watcher read the parts five times a second, in counts, the engine idling evenly in closed loop, and returns it and the
// times of the forces that it told.
func playParts(parts []part) (*Watcher, []float64) {
	w, rng := NewWatcher(Config{}), rand.New(rand.NewPCG(1, 7))
	var begins []float64
	step := func(name string, t, v float64) {
		at := time.Duration(t * float64(time.Second))
		for _, e := range w.Step(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v}) {
			if e.Name == ForceBegins {
				begins = append(begins, e.T)
			}
		}
	}
	t, since := 0.0, 0.0
	for _, p := range parts {
		for ; t < p.until; t += 0.2 {
			if math.Mod(t+1e-9, 2) < 0.1 {
				step("ECT", t, 90)
				step("RPM", t, 800)
				step("FUELSYS1", t, 2)
				step("LONGFT1", t, p.long)
			}
			trim := p.from + (p.to-p.from)*(t-since)/(p.until-since)
			step("O2S11", t, math.Round((p.volts+p.trembles*rng.NormFloat64())*200)/200)
			step("SHRTFT1", t+0.1, math.Round(trim*1.28)/1.28)
		}
		since = p.until
	}
	for _, e := range w.Finish(time.Duration(t * float64(time.Second))) {
		if e.Name == ForceBegins {
			begins = append(begins, e.T)
		}
	}
	return w, begins
}

// swinging are parts of a sensor that swings, from one second to another.
func swinging(from, to float64) (parts []part) {
	for t := from; t < to; t += 1 {
		up := 1 - 2*float64(int(t)%2)
		parts = append(parts, part{until: t + 1, volts: 0.45 + 0.37*up, trembles: 0.012, from: 1.5 * up, to: -1.5 * up})
	}
	return parts
}

// A sensor that lies on a side already is held there: the reading takes a step, and trembles no more. Nobody said so. The times are
// those of the parts.
func TestHeldWhereItLay(t *testing.T) {
	// Held lean from 30 to 45 s, trim adds 20 %; let go, the sensor says rich while trim comes back.
	answered := append(swinging(0, 30), part{45, 0, 0, 0, 20, 0}, part{55, 0.9, 0.012, 20, 6, 0})
	for _, c := range []struct {
		name  string
		parts []part
		want  []float64
	}{
		{"it always lay there, trembling", []part{{40, 0.8, 0.012, -20, -20, 0}, {60, 0.9, 0, -20, -20, 0}, {80, 0.8, 0.012, -20, -20, 0}}, []float64{40}},
		{"it goes on trembling", []part{{40, 0.8, 0.012, -20, -20, 0}, {60, 0.9, 0.012, -20, -20, 0}, {80, 0.8, 0.012, -20, -20, 0}}, nil},
		{"after a release, held again before trim is back", append(answered[:len(answered):len(answered)], part{70, 0.84, 0, 6, -15, 0}, part{80, 0.08, 0.012, -15, 0, 0}), []float64{30, 55}},
		{"after a release, trim comes back and on", append(append(answered[:len(answered):len(answered)], part{60, 0.87, 0.012, 6, 0, 0}), swinging(60, 90)...), []float64{30}},
	} {
		_, got := playParts(c.parts)
		same := len(got) == len(c.want)
		for i := 0; same && i < len(got); i++ {
			same = math.Abs(got[i]-c.want[i]) < 1
		}
		if !same {
			t.Errorf("%s: forces at %.1f s, want %.1f", c.name, got, c.want)
		}
	}
}

// after is parts and those that come then.
func after(parts []part, more ...[]part) []part {
	return slices.Concat(append([][]part{parts}, more...)...)
}

// What parts of a session come to: a proof's state, by hand from what the parts are.
func TestPartsProve(t *testing.T) {
	// Trim stands whatever the sensor says, which swings by itself.
	stands := func(parts []part) []part {
		out := slices.Clone(parts)
		for i := range out {
			out[i].from, out[i].to = 0, 0
		}
		return out
	}
	// Held rich, trim goes to -20 % and the computer learns 13 of them; held lean 12 s after, while the sensor says lean still: total trim goes
	// from there to 9 % over its middle, of which the short term shows 22. The sensor leaves rich as the total has come back.
	learned := func(parts []part, long float64) []part {
		out := slices.Clone(parts)
		for i := range out {
			out[i].long = long
		}
		return out
	}
	for _, c := range []struct {
		name  string
		parts []part
		proof ProofID
		want  State
		why   reason.Code
	}{
		{"swings, but trim never moved", stands(after(swinging(0, 30), []part{{45, 0, 0, 0, 0, 0}}, swinging(45, 90))), ProofRecovery, Unclear, reason.NoTrimAnswered},
		{"swings, and trim with it", after(swinging(0, 30), []part{{45, 0, 0, 0, 20, 0}, {55, 0.9, 0.012, 20, 0, 0}}, swinging(55, 90)), ProofRecovery, Proven, reason.CycledAgain},
		{"the branch stays open after a hold, and then the wire is held", after(swinging(0, 30), []part{{45, 0, 0, 0, 20, 0}, {70, 0.45, 0, 20, 25, 0}, {78, 0.9, 0, 25, 15, 0}}), ProofSensorRich, Unclear, reason.CameToOpenLevel},
		{"held again, with what was learned in between", after(swinging(0, 30), []part{{45, 0.9, 0, 0, -20, 0}},
			learned([]part{{57, 0.05, 0.012, -7, 5, 0}, {72, 0, 0, 5, 22, 0}, {80, 0.9, 0.012, 22, 13, 0}, {81, 0.08, 0.012, 12, 14, 0}, {82, 0.82, 0.012, 14, 12, 0}}, -13)), ProofSensorRich, Proven, reason.SaidRich},
	} {
		w, _ := playParts(c.parts)
		for _, p := range w.Verdict().Proofs {
			if p.ID == c.proof && (p.State != c.want || !strings.Contains(fmt.Sprint(p.Why), string(c.why))) {
				t.Errorf("%s: %s is %s, want %s: %v", c.name, p.ID, p.State, c.want, p.Why)
			}
		}
	}
}

// A computer that keeps the loop open because its input is dead asks for no other verdict than that.
func TestDeadInputOfAnOpenLoop(t *testing.T) {
	_, w := playSession(t, Config{}, false, "ECT 0s..80s/5s 90", "RPM 0s..80s/2s 800", "FUELSYS1 0s..80s/2s 8", "O2S11 0s..80s/200ms 0.45", "SHRTFT1 0s..80s/200ms 0", "says 25s lean; 40s release")
	if got := w.Verdict().Conclusion; got != InputDead {
		t.Errorf("%s", got)
	}
}
