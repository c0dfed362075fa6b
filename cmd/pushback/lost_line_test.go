package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

// plug is a line that is pulled at one moment and put back at another.
type plug struct {
	sim       *simcar.Sim
	out, back time.Duration // of the simulated time; back 0: never
}

func (p *plug) gone() bool {
	now := p.sim.Now()
	return now >= p.out && (p.back == 0 || now < p.back)
}

func (p *plug) open(context.Context) (obd.Link, error) {
	if p.gone() {
		return nil, &obd.LinkError{Op: "open", Port: "plug", Err: obd.ErrNoAdapter}
	}
	return &plugged{p.sim.Link(), p, p.sim.Now() < p.out}, nil
}

type plugged struct {
	obd.Link
	plug   *plug
	before bool // opened before it was pulled
}

func (l *plugged) Read(b []byte) (int, error) {
	if l.before && l.plug.sim.Now() >= l.plug.out {
		return 0, &obd.LinkError{Op: "read", Port: "plug", Err: obd.ErrLinkLost}
	}
	return l.Link.Read(b)
}

// Unplugged in the middle: what came before is stored and judged; back in time, the
// session goes on, with the gap told; else it ends with status 1 and advice. Replay
// tells the same.
func TestUnpluggedInTheMiddle(t *testing.T) {
	for _, tt := range []struct {
		name   string
		back   time.Duration
		status int
		says   string
	}{
		{"for good", 0, statusFailed, "check the cable"},
		{"put back", 12 * time.Second, statusDone, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			car, err := simcar.Find("healthy")
			if err != nil {
				t.Fatal(err)
			}
			sim, err := simcar.New(simcar.Config{Car: car, Seed: 1})
			if err != nil {
				t.Fatal(err)
			}
			p := &plug{sim: sim, out: 8 * time.Second, back: tt.back}
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			r := liveRun{look: look{clock: sim.Clock(), open: p.open}, origin: "simulated"}
			r.flags.car.sensor, r.flags.dur = "B1S1", 30*time.Second
			if got := a.exit(a.runLive(context.Background(), r)); got != tt.status {
				t.Errorf("status %d, want %d", got, tt.status)
			}
			if !strings.Contains(errOut.String(), tt.says) {
				t.Errorf("standard error does not say %q:\n%s", tt.says, errOut)
			}
			if !strings.Contains(out.String(), `"event":"gap"`) || !strings.Contains(out.String(), `"cause":"link lost"`) {
				t.Errorf("the gap is not told:\n%s", out)
			}
			replayed, _ := command(t, "replay", "last", "--json", "--db", db)
			if live := withoutSteps(out.String()); replayed != live {
				t.Errorf("replay differs from live%s", firstDifference(live, replayed))
			}
			if list, _ := command(t, "sessions", "--json", "--db", db); !strings.Contains(list, `"finished":true`) {
				t.Errorf("not stored as finished: %s", list)
			}
		})
	}
}
