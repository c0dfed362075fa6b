package session

import (
	"math"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// Aftermath is a sink that follows what a test leaves behind in the computer: codes, and long-term
// trim that has learned from the steps. The zero value but for its sensor is ready.
type Aftermath struct {
	Sensor decode.SensorID

	Stored  []string // codes that were set while the test ran
	Pending []string // and those that are pending
	Before  float64  // %: long-term trim of the sensor's bank before the first step; NaN not read
	Most    float64  // %: how far it went from there, with its sign
	Now     float64  // %: how far it is at the end

	longTrim *decode.Signal

	recent []longReading // before the first step
	began  bool
	ended  time.Duration // the last release
	within time.Duration // since when it is within LearnedBack; below 0: it is not
	read   bool          // since the first step
}

type longReading struct {
	at time.Duration
	v  float64
}

// LearnedBack is how near to its place before the test long-term trim counts as back, %: a computer's
// own steps from one learning cell to the next are as large.
const LearnedBack = 2.0

// beforeSpan is how long before the first step its place is averaged, and keptSpan how long readings are
// kept: a step is found some seconds after it began.
const (
	beforeSpan = 20 * time.Second
	keptSpan   = 2 * time.Minute
)

// Write takes one frame.
func (a *Aftermath) Write(f Frame) error {
	if a.longTrim == nil {
		a.longTrim = decode.ByName(a.Sensor.LongTrim())
	}
	for _, s := range f.Samples {
		if s.Signal == a.longTrim && !s.Missing {
			a.addLong(longReading{s.Received, s.Value})
		}
	}
	for _, e := range f.Events {
		a.event(e)
	}
	return nil
}

func (a *Aftermath) addLong(r longReading) {
	if !a.began {
		a.recent = append(a.recent, r)
		for len(a.recent) > 0 && r.at-a.recent[0].at > keptSpan {
			a.recent = a.recent[1:]
		}
		return
	}
	if math.IsNaN(a.Before) {
		return
	}
	a.read, a.Now = true, r.v-a.Before
	if math.Abs(a.Now) > math.Abs(a.Most) {
		a.Most = a.Now
	}
	switch in := math.Abs(a.Now) <= LearnedBack; {
	case !in:
		a.within = -1
	case a.within < 0:
		a.within = r.at
	}
}

func (a *Aftermath) event(e analysis.Event) {
	at := time.Duration(e.T * float64(time.Second))
	switch e.Name {
	case analysis.ForceBegins:
		if !a.began {
			a.begin(at)
		}
	case analysis.ForceEnds:
		a.ended = at
	case analysis.CodeSet:
		if list := &a.Stored; !slices.Contains(*list, e.Code) && !e.Pending {
			*list = append(*list, e.Code)
		} else if list = &a.Pending; e.Pending && !slices.Contains(*list, e.Code) {
			*list = append(*list, e.Code)
		}
	}
}

// begin finds where long-term trim lay before the first step, and judges what came since.
func (a *Aftermath) begin(at time.Duration) {
	a.began, a.Before = true, math.NaN()
	n, sum := 0, 0.0
	for _, r := range a.recent {
		if r.at <= at && at-r.at <= beforeSpan {
			n, sum = n+1, sum+r.v
		}
	}
	if n > 0 {
		a.Before = sum / float64(n)
	}
	for _, r := range a.recent {
		if r.at > at {
			a.addLong(r)
		}
	}
	a.recent = nil
}

// Learned reports whether anything is known of long-term trim since the first step.
func (a *Aftermath) Learned() bool { return a.read }

// Moved reports whether long-term trim went farther than LearnedBack.
func (a *Aftermath) Moved() bool { return a.read && math.Abs(a.Most) > LearnedBack }

// IsBack reports whether it came back, and how long after the last release it was there for good.
func (a *Aftermath) IsBack() (after time.Duration, back bool) {
	return max(0, a.within-a.ended), a.Moved() && a.within >= 0
}
