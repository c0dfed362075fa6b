package analysis

import (
	"strconv"
	"testing"

	"pushback/analysis/scripttest"
	"pushback/decode"
)

// Trim that comes to zero faster than it goes by itself was given up; where a loop has no authority beyond zero it gets there at
// its own rate, and where it was read seldom both look alike.
func TestJumpedToZero(t *testing.T) {
	for _, c := range []struct {
		name, trim string
		rate       float64 // % per s, its own
		want       bool
	}{
		{"at once", "200ms..6s/200ms 10->16; 6.2s..9s/200ms 0", 1, true},
		{"within a second", "200ms..6s/200ms 16; 6.2s..7s/200ms 16->0; 7.2s..9s/200ms 0", 1, true},
		{"at its own rate", "200ms..6s/200ms 12->0; 6.2s..9s/200ms 0", 2, false},
		{"from the other side", "200ms..6s/200ms -12; 6.2s..9s/200ms 0", 1, true},
		{"from near zero", "200ms..6s/200ms 1.6; 6.2s..9s/200ms 0", 1, false},
		{"read seldom, by a fast loop", "3s..6s/3s 12; 9s..12s/3s 0", 4, false},
		{"read seldom, by a slow loop", "3s..6s/3s 12; 9s..12s/3s 0", 1, true},
		{"as it does in each cycle", "1s..2s/500ms 9; 2.5s..4s/500ms 0; 4.5s..6s/500ms 9; 6.5s..8s/500ms 0; 8.5s..10s/500ms 9; 10.5s..20s/500ms 0", 1, false},
		{"nothing before", "1s..6s/1s 0", 1, false},
	} {
		s := newTrimStream()
		at := -1
		for i, p := range scripted(t, c.trim, 0, same) {
			s.short.Add(p)
			if last := s.short.At(max(i-1, 0)); abs(p.V) <= trimCount/2 && abs(last.V) > trimCount/2 {
				at = i
			}
		}
		if got := s.jumpedToZero(at, c.rate); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// Trim that jumps to zero though the reading asks for more on the side where it was: the computer let go of the sensor, if the loop is
// read to be closed then.
func TestZeroesAgainst(t *testing.T) {
	for _, c := range []struct {
		name, trim, volts string
		status            float64
		want              bool
	}{
		{"it reads rich on", "0s..20s/200ms -6; 20.2s..30s/200ms 0", "0s..30s/200ms 0.8", 2, true},
		{"it reads lean on, and trim had added", "0s..20s/200ms 6; 20.2s..30s/200ms 0", "0s..30s/200ms 0.1", 2, true},
		{"the loop has opened", "0s..20s/200ms -6; 20.2s..30s/200ms 0", "0s..30s/200ms 0.8", 4, false},
		{"the reading has just crossed", "0s..20s/200ms -6; 20.2s..30s/200ms 0", "0s..19s/200ms 0.8; 19.2s..30s/200ms 0.1", 2, false},
		{"it comes there at its own rate", "0s..10s/200ms -6->-2; 10.2s..15s/200ms -2->0; 15.2s..30s/200ms 0", "0s..30s/200ms 0.1", 2, false},
	} {
		w := NewWatcher(Config{})
		scripts := []string{"SHRTFT1 " + c.trim, "O2S11 " + c.volts, "FUELSYS1 0s..15s/1s 2; 25s..30s/1s " + strconv.FormatFloat(c.status, 'f', 0, 64)}
		for _, s := range scripttest.Merge(t, scripts...) {
			w.Step(decode.Sample{Signal: decode.ByName(s.Name), Sent: s.At, Received: s.At, Value: s.Value})
		}
		if w.ready.gaveUp != c.want {
			t.Errorf("%s: %v", c.name, w.ready.gaveUp)
		}
	}
}

// What a sensor beside one does by chance, and what it does where the plugs are exchanged.
func TestOtherWay(t *testing.T) {
	for _, c := range []struct {
		name, beside string
		most         float64
	}{
		{"it cycles on", "0s..2s/500ms 0.1; 2.5s..4s/500ms 0.8; 4.5s..6s/500ms 0.1; 40s..50s/1s 0.1->0.9", 0},
		{"it is read too seldom", "0s..30s/500ms 0.1; 40s..50s/5s 0.8", 0},
		{"it lies on the same side", "0s..30s/500ms 0.1; 40s..50s/1s 0.1", 0},
		{"it goes to the other side and stays", "0s..30s/500ms 0.1; 40s..50s/1s 0.8", 0.2},
		{"it lies there all the time", "0s..38s/500ms 0.8; 40s..50s/1s 0.8", 1},
	} {
		w := NewWatcher(Config{})
		for _, p := range scripted(t, c.beside, 0, same) {
			w.otherVolts.add(p)
		}
		w.restFrom = 60 // after a later force
		got := w.otherWay(&w.volts, Lean, 40.5, 50)
		if got > c.most || (got > 0) != (c.most > 0) || c.most == 1 && got < 0.5 {
			t.Errorf("%s: %g", c.name, got)
		}
	}
}

// Where a loop that was forced lean comes back to zero while the sensor reads rich, and what it does then.
func TestWentNoFurther(t *testing.T) {
	for _, c := range []struct {
		name, trim string
		volts      float64
		want       bool
	}{
		{"it stops there", "25s..35s/200ms 15->0; 35.2s..45s/200ms 0", 0.85, true},
		{"it goes on", "25s..45s/200ms 15->-15", 0.85, false},
		{"it goes on, and is given up then", "25s..37s/200ms 15->-6; 37.2s..50s/200ms 0", 0.85, false},
		{"it is given up on its way", "25s..30s/200ms 15->9; 30.2s..45s/200ms 0", 0.85, false},
		{"not for long enough", "25s..35s/200ms 15->0; 35.2s..39s/200ms 0", 0.85, false},
		{"nothing asks it to go on", "25s..35s/200ms 15->0; 35.2s..45s/200ms 0", 0.1, false},
	} {
		w := NewWatcher(Config{})
		for _, p := range scripted(t, c.trim, 0, same) {
			w.trim.short.Add(p)
			p.V = c.volts
			w.volts.volts.Add(p)
		}
		f := good(Lean)
		f.own.rate = 1.5
		a := &assessment{w: w, forces: []*force{f}}
		if got := a.wentNoFurther(Rich); got != c.want || a.wentNoFurther(Lean) {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
