package analysis

import (
	"time"

	"pushback/decode"
)

// Config says what is being tested.
type Config struct {
	Sensor    string // the sensor that is forced: "B1S1"
	ByMixture bool   // the mixture is forced, not the signal wire
}

// Watcher is the state machine that turns a session's samples into events and, at
// any time, a verdict. Feed it in order of time; not for concurrent use.
type Watcher struct {
	cfg Config
}

// NewWatcher returns a watcher for the sensor in cfg.
func NewWatcher(cfg Config) (*Watcher, error) { return &Watcher{cfg: cfg}, nil }

// Step takes one sample and returns what it decides, possibly nothing. The slice
// is valid until the next call.
func (w *Watcher) Step(s decode.Sample) []Event { return nil }

// Mark takes what the technician says he does: Lean, Rich, or "" for a release.
func (w *Watcher) Mark(at time.Duration, side Side) []Event { return nil }

// Codes takes the trouble codes of one reading of service 03 (stored), 07
// (pending) or 0A (permanent) from all computers together.
func (w *Watcher) Codes(at time.Duration, service byte, codes []string) []Event { return nil }

// Gap says that from … to there was no data, and why.
func (w *Watcher) Gap(from, to time.Duration, cause string) []Event { return nil }

// Finish ends the session at the given time: what waits for more data is decided.
func (w *Watcher) Finish(at time.Duration) []Event { return nil }

// Verdict returns the verdict on all that was seen so far.
func (w *Watcher) Verdict() Verdict { return Verdict{Conclusion: NothingForced} }
