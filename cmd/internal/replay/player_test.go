package replay

import (
	"context"
	"errors"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/obd"
)

// tape yields a record each second of a session of ten.
type tape struct{ n int }

func (t *tape) Next(context.Context) (obd.Record, error) {
	if t.n > 10 {
		return obd.Record{}, io.EOF
	}
	t.n++
	return obd.Record{At: time.Duration(t.n-1) * time.Second}, nil
}

// watched plays a tape and tells when each record came.
func watched(t *testing.T, p *Player, tell chan<- time.Duration) error {
	t.Helper()
	src := paced{&tape{}, p}
	for {
		rec, err := src.Next(t.Context())
		if err != nil {
			close(tell)
			return err
		}
		var f session.Frame
		f.Record = rec
		if rec.At == 5*time.Second {
			f.Events = []analysis.Event{{Name: analysis.ForceBegins, Side: analysis.Lean}}
		}
		_ = p.Write(f)
		tell <- rec.At
	}
}

func TestPlayerKeepsPace(t *testing.T) {
	for _, speed := range []float64{0.5, 1, 2, 10} {
		synctest.Test(t, func(t *testing.T) {
			began := time.Now()
			tell := make(chan time.Duration, 100)
			if err := watched(t, New(speed), tell); !errors.Is(err, io.EOF) {
				t.Fatal(err)
			}
			if took, want := time.Since(began), time.Duration(float64(10*time.Second)/speed); took != want {
				t.Errorf("at %g× ten seconds took %v, want %v", speed, took, want)
			}
		})
	}
}

func TestPlayerObeys(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := New(1)
		h := p.Controls(10 * time.Second)
		tell := make(chan time.Duration, 100)
		end := make(chan error, 1)
		go func() { end <- watched(t, p, tell) }()
		last := time.Duration(-1)
		at := func(when string, want time.Duration) {
			t.Helper()
			synctest.Wait()
			for len(tell) > 0 {
				last = <-tell
			}
			if last != want {
				t.Errorf("%s: at %v, want %v", when, last, want)
			}
		}
		time.Sleep(2500 * time.Millisecond)
		at("after 2.5 s", 2*time.Second)
		h.Play.Pause()
		time.Sleep(time.Minute)
		at("standing still for a minute", 2*time.Second)
		h.Play.Step()
		at("on to the next event", 5*time.Second)
		time.Sleep(time.Minute)
		at("still there", 5*time.Second)
		h.Play.Pause()
		time.Sleep(1100 * time.Millisecond)
		at("gone on", 6*time.Second)
		h.Play.Faster()
		time.Sleep(1100 * time.Millisecond)
		at("twice as fast", 8*time.Second)
		h.Play.SeekBy(-5 * time.Second)
		if err := <-end; !errors.Is(err, ErrSeek) {
			t.Fatalf("back: %v", err)
		}
		p.Again()
		tell = make(chan time.Duration, 100)
		go func() { end <- watched(t, p, tell) }()
		at("five seconds back", 3*time.Second)
		h.Play.SeekBy(4 * time.Second)
		at("four on", 7*time.Second)
		h.Stop()
		if err := <-end; !errors.Is(err, ErrStopped) {
			t.Fatalf("stopped: %v", err)
		}
	})
}

// What hurries to another place says so, and when it is there: no tones on the way.
func TestPlayerTellsHurry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := New(1)
		told := make(chan bool, 10)
		p.TellTo(func(_ string, _, hurry bool) { told <- hurry })
		tell := make(chan time.Duration, 100)
		go func() { _ = watched(t, p, tell) }()
		time.Sleep(1500 * time.Millisecond)
		p.Controls(10 * time.Second).Play.Seek(6 * time.Second)
		synctest.Wait() // the seventh second is due later
		last := true
		for len(told) > 0 {
			last = <-told
		}
		if last {
			t.Error("it is there, and still said to hurry")
		}
		p.Controls(10 * time.Second).Play.Step() // beyond the last event: to the end
		if !<-told {
			t.Error("it hurries to the next event, and does not say so")
		}
	})
}

// Who stands still on the way to the next event stands there, and does not run on to the end
// when they go on.
func TestPlayerPausesAStep(t *testing.T) {
	p := New(1)
	p.at = 2 * time.Second
	h := p.Controls(10 * time.Second)
	h.Play.Step()
	h.Play.Pause()
	if !p.still || p.step || p.goal != p.at {
		t.Errorf("still %v, step %v, runs to %v", p.still, p.step, p.goal)
	}
	h.Play.Step()
	h.Play.SeekBy(time.Second)
	if p.step || p.goal != 3*time.Second {
		t.Errorf("moved on: step %v, runs to %v", p.step, p.goal)
	}
}

func TestSpeeds(t *testing.T) {
	for _, tt := range []struct {
		now  float64
		dir  int
		want float64
	}{{1, 1, 2}, {1, -1, 0.5}, {50, 1, 50}, {0.25, -1, 0.25}, {3, 1, 5}, {3, -1, 2}, {400, -1, 50}} {
		if got := nextSpeed(tt.now, tt.dir); got != tt.want {
			t.Errorf("from %g in direction %d: %g, want %g", tt.now, tt.dir, got, tt.want)
		}
	}
}
