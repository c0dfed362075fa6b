// Package replay plays a stored session again at the speed of life, or another.
package replay

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/obd"
)

// ErrSeek ends a run of a replay that has to begin anew: time only goes forward.
var ErrSeek = errors.New("seek")

// Player paces a replay and obeys who watches it: stand still, one event on, faster,
// slower, back and forth. Its methods may be called from any goroutine.
type Player struct {
	changed func(status string, still, hurry bool) // told of each change, from any goroutine

	telling sync.Mutex // what is told last is how it is

	mu     sync.Mutex
	speed  float64 // times the speed of life
	still  bool
	step   bool          // stand still at the next event
	goal   time.Duration // run up to here without waiting
	hurry  bool          // as is being done
	at     time.Duration // session time of the last record
	back   bool          // begin anew
	stop   bool
	anchor time.Duration // session time that was due at the time began
	began  time.Time
	wake   chan struct{} // closed and made anew at each change
}

// New returns a player at so many times the speed of life.
func New(speed float64) *Player {
	return &Player{speed: speed, wake: make(chan struct{}), began: time.Now()}
}

// speeds are those that a key steps through.
var speeds = []float64{0.25, 0.5, 1, 2, 5, 10, 50}

// Controls is what people can do with the replay of a session that lasted so long.
func (p *Player) Controls(end time.Duration) live.Controls {
	return live.Controls{
		Stop: func() { p.change(func() { p.stop = true }) },
		Play: &live.Playback{
			Pause:  func() { p.change(p.pause) },
			Step:   func() { p.change(func() { p.still, p.step, p.goal, p.hurry = false, true, 1<<62, true }) },
			Slow:   func() { p.change(func() { p.speed = nextSpeed(p.speed, -1) }) },
			Faster: func() { p.change(func() { p.speed = nextSpeed(p.speed, 1) }) },
			Seek:   func(to time.Duration) { p.change(func() { p.seek(to) }) },
			SeekBy: func(by time.Duration) { p.change(func() { p.seek(p.at + by) }) },
			End:    end,
		},
	}
}

// pause stands still or goes on; on the way to the next event it stands still at once.
func (p *Player) pause() {
	if p.step {
		p.step, p.goal = false, p.at
	}
	p.still = !p.still
}

// seek runs to a session time, from the beginning where that is back.
func (p *Player) seek(to time.Duration) {
	p.step = false
	p.goal, p.back, p.hurry = max(0, to), to < p.at, true
}

func nextSpeed(now float64, dir int) float64 {
	for i := range speeds {
		s := speeds[i]
		if dir < 0 {
			s = speeds[len(speeds)-1-i]
		}
		if (s-now)*float64(dir) > 0 {
			return s
		}
	}
	return now
}

// change makes a change and lets who waits see it.
func (p *Player) change(f func()) {
	p.mu.Lock()
	f()
	p.anchor, p.began = p.at, time.Now()
	close(p.wake)
	p.wake = make(chan struct{})
	p.mu.Unlock()
	p.tell()
}

// TellTo names who is told, and tells how it is now.
func (p *Player) TellTo(changed func(status string, still, hurry bool)) {
	p.telling.Lock()
	p.changed = changed
	p.telling.Unlock()
	p.tell()
}

func (p *Player) tell() {
	p.telling.Lock()
	defer p.telling.Unlock()
	p.mu.Lock()
	text, still, hurry := fmt.Sprintf("%g×", p.speed), p.still, p.hurry
	p.mu.Unlock()
	if p.changed != nil {
		p.changed(text, still, hurry)
	}
}

// Again readies the player for a run from the beginning.
func (p *Player) Again() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.at, p.back = 0, false
	p.anchor, p.began = p.goal, time.Now()
}

// wait returns when the record at a session time is due. ErrSeek asks for a run
// from the beginning, ErrStopped for the end.
func (p *Player) wait(ctx context.Context, at time.Duration) error {
	for {
		p.mu.Lock()
		var due time.Duration
		switch {
		case p.stop:
			p.mu.Unlock()
			return ErrStopped
		case p.back:
			p.mu.Unlock()
			return ErrSeek
		case at > p.goal && p.hurry:
			p.hurry = false
			p.mu.Unlock()
			p.tell()
			continue
		case at <= p.goal:
			p.at, p.anchor, p.began = at, at, time.Now()
			p.mu.Unlock()
			return ctx.Err()
		case p.still:
			due = time.Hour
		default:
			due = time.Duration(float64(at-p.anchor)/p.speed) - time.Since(p.began)
		}
		if due <= 0 {
			p.at = at
			p.mu.Unlock()
			return ctx.Err()
		}
		wake := p.wake
		p.mu.Unlock()
		t := time.NewTimer(due)
		select {
		case <-t.C:
		case <-wake:
		case <-ctx.Done():
		}
		t.Stop()
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// Rest waits at the end of a replay and reports whether the watcher has gone back
// into it; false when they ended it, left the screen, or ctx is done.
func (p *Player) Rest(ctx context.Context, left <-chan struct{}) bool {
	for {
		p.mu.Lock()
		back, stop, wake := p.back, p.stop, p.wake
		p.mu.Unlock()
		if back || stop {
			return back
		}
		select {
		case <-wake:
		case <-left:
			return false
		case <-ctx.Done():
			return false
		}
	}
}

// ErrStopped ends a replay that its watcher has ended.
var ErrStopped = errors.New("stopped")

// Write stands still at the event that a step waits for. It is a session.Sink.
func (p *Player) Write(f session.Frame) error {
	p.mu.Lock()
	stepped := p.step && len(f.Events) > 0
	if stepped {
		p.step, p.still, p.goal, p.hurry = false, true, 0, false
	}
	p.mu.Unlock()
	if stepped {
		p.tell()
	}
	return nil
}

// Pace returns a source that yields the records of src when the player says so.
func (p *Player) Pace(src session.Source) session.Source { return paced{src, p} }

type paced struct {
	session.Source
	player *Player
}

// Next returns the next record when it is due.
func (p paced) Next(ctx context.Context) (obd.Record, error) {
	rec, err := p.Source.Next(ctx)
	if err != nil {
		return rec, err
	}
	return rec, p.player.wait(ctx, rec.At)
}
