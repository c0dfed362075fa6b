package analysis

import (
	"testing"
	"time"

	"pushback/decode"
)

// What the time since the engine's start (PID 1F) and the commanded purge (PID 2E) tell of a force that is on.
func TestRuntimeAndPurge(t *testing.T) {
	for _, c := range []struct {
		name            string
		signal          string
		values          []float64 // at 12, 14, … s; the force began at 10
		stalled, purged bool
	}{
		{"it runs on", "RUNTM", []float64{300, 302, 304}, false, false},
		{"started anew in the force", "RUNTM", []float64{300, 302, 1}, true, false},
		{"started anew before it", "RUNTM", []float64{300, 9}, false, false}, // at 5 s
		{"no step of the clock", "RUNTM", []float64{300, 299.5}, false, false},
		{"engine speed tells", "RPM", []float64{750, 0}, true, false},
		{"purge stays", "EVAP_PCT", []float64{30, 32, 33}, false, false},
		{"purge opens", "EVAP_PCT", []float64{0, 0, 45}, false, true},
		{"purge shuts", "EVAP_PCT", []float64{45, 0}, false, true},
	} {
		w := NewWatcher(Config{})
		f := &force{side: Lean}
		f.begin = 10
		w.forces = append(w.forces, f)
		if w.running() != f {
			t.Fatal("the force is not on")
		}
		for i, v := range c.values {
			at := time.Duration(12+2*i) * time.Second
			w.Step(decode.Sample{Signal: decode.ByName(c.signal), Value: v, Sent: at, Received: at})
		}
		if f.stalled != c.stalled || f.purged != c.purged {
			t.Errorf("%s: stalled %v, purged %v", c.name, f.stalled, f.purged)
		}
	}
}

// The other bank's sensor behind the catalyst follows a force of the bank that has none.
func TestOtherBanksRear(t *testing.T) {
	w := NewWatcher(Config{Sensor: decode.SensorID{Bank: 2, Position: 1}})
	rear := decode.ByName("O2S12")
	step := func(s int, v float64) {
		at := time.Duration(s) * time.Second
		w.Step(decode.Sample{Signal: rear, Value: v, Sent: at, Received: at})
	}
	for s := range 30 {
		step(s, 0.65)
	}
	w.beginForce(held{side: Rich, lo: 30, hi: 30.1, level: 0.9, until: 30}, &w.volts, true)
	f := w.running()
	f.own.n, f.own.start, f.own.now = 9, 0, 15 // trim has cut fuel
	for s := 32; s < 50; s++ {
		step(s, 0.1)
	}
	if f.down.seen || !f.shared.answered {
		t.Errorf("own %+v, shared %+v", f.down, f.shared)
	}
}

// Two silences far enough apart are no pause, unless the purge valve moved in one of them.
func TestPurgeIsAPause(t *testing.T) {
	quiet := func(begin float64, purged bool) *force {
		f := &force{}
		f.purged = purged
		f.begin, f.own.state = begin, silent
		return f
	}
	for _, c := range []struct {
		name   string
		forces []*force
		want   bool
	}{
		{"one", []*force{quiet(10, false)}, true},
		{"two", []*force{quiet(10, false), quiet(60, false)}, false},
		{"two, purge moved in one", []*force{quiet(10, true), quiet(60, false)}, true},
		{"three, purge moved in one", []*force{quiet(10, false), quiet(60, true), quiet(110, false)}, false},
	} {
		if got := paused(c.forces); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// Where the other bank's reading followed the wire, what the downstream sensor says against the forced one is said of another mixture.
func TestCrossedBanksContradictNothing(t *testing.T) {
	for _, crossed := range []bool{false, true} {
		f := with(Lean, func(f *force) {
			f.rel = release{state: sensorVague, trimMade: 15, at: 25, expect: f.rel.expect}
			f.down, f.volts = downstream{}, flatBase()
			if crossed {
				f.bank, f.own.state = 2, silent
			}
		})
		c := judged(ByWire, f)
		c.w.rest.mute[sideIndex(Rich)], c.w.rest.trimThen[sideIndex(Rich)] = 40, 25
		if bank := c.bankProof().State; (bank == Failed) != crossed {
			t.Fatalf("crossed %v: the bank is %s", crossed, bank)
		}
		if got := c.sensor(Rich).State; (got == Failed) == crossed {
			t.Errorf("crossed %v: sensor_rich is %s", crossed, got)
		}
		if got := c.delivery().State; (got == Proven) == crossed {
			t.Errorf("crossed %v: delivery is %s", crossed, got)
		}
	}
}

// Trim that falls back in a hold was given up once the status that is read next is still closed loop; an engine that stops
// drops trim a moment before anything else tells of it.
func TestDropIsSettledByTheStatus(t *testing.T) {
	for _, c := range []struct {
		name     string
		statusAt float64 // s; below 0: none was ever read. Trim fell at 18
		status   int
		opened   bool
		now      float64
		letsGo   bool
	}{
		{"not known yet", 17, int(decode.FuelClosed), false, 18.5, false},
		{"still closed", 18.4, int(decode.FuelClosed), false, 18.5, true},
		{"it opened", 18.4, int(decode.FuelOpenFault), true, 18.5, false},
		{"no status comes", 17, int(decode.FuelClosed), false, 25, true},
		{"none was ever read", -1, 0, false, 18, true},
	} {
		w := NewWatcher(Config{})
		f := good(Lean)
		f.dropped, f.opened = 18, c.opened
		w.ready.hasStatus, w.ready.statusAt, w.ready.status = c.statusAt >= 0, c.statusAt, c.status
		w.settleDrop(f, c.now)
		if got := f.letGo == byTrim; got != c.letsGo || got && f.letGoAt != 18 {
			t.Errorf("%s: %q at %v", c.name, f.letGo, f.letGoAt)
		}
	}
}
