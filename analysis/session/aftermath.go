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
	trims    [2]*decode.Signal

	recent []longReading // before the first step
	began  bool
	ended  time.Duration // the last release
	within time.Duration // since when it is within LearnedBack; below 0: it is not
	read   bool          // since the first step
	learns learning
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
		a.trims = [2]*decode.Signal{decode.ByName(a.Sensor.Trim()), decode.ByName(a.Sensor.TrimBeside())}
	}
	for i := range f.Samples {
		s := &f.Samples[i]
		switch {
		case s.Missing:
		case s.Signal == a.longTrim:
			a.addLong(longReading{s.Received, s.Value})
		case s.Signal == a.trims[0] || s.Signal == a.trims[1]:
			a.learns.addShort(s.Received, s.Value, a.began)
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
	a.learns.addLong(a.Now)
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
	a.learns.begin(at)
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

// Foreseen is in what time after the end long-term trim is back within LearnedBack if the engine idles on, and the interval that holds
// it about 19 times in 20; no is true where that cannot be told.
func (a *Aftermath) Foreseen() (after, lo, hi time.Duration, no bool) {
	if _, back := a.IsBack(); back || !a.Moved() {
		return 0, 0, 0, true
	}
	return a.learns.foresee(a.Now)
}

// learning finds how a computer learns: most move long-term trim by a share of short-term trim each second (common practice, no source),
// so that it goes back by the same law.
type learning struct {
	at       time.Duration
	v        float64 // %: short-term trim, last read
	has      bool
	sum      float64       // %·s: its integral since the first step
	low, top float64       // and the range of that, where long-term trim was read
	rest     float64       // %: short-term trim before the first step, averaged over some seconds
	was      []longReading // that average each second, for a step is found some seconds after it began
	n        float64
	sx, sy   float64
	xx, xy   float64
	yy       float64
}

// restOver is over how long short-term trim is averaged at rest.
const restOver = 10.0 // s

func (l *learning) addShort(at time.Duration, v float64, began bool) {
	gap := (at - l.at).Seconds()
	switch {
	case !l.has:
		l.rest = v
	case !began:
		l.rest += (v - l.rest) * min(gap/restOver, 1)
		if n := len(l.was); n == 0 || at-l.was[n-1].at >= time.Second {
			l.was = append(l.was, longReading{at, l.rest})
		}
		if len(l.was) > 60 {
			l.was = l.was[1:]
		}
	case gap < 15:
		l.sum += (v + l.v) / 2 * gap
	}
	l.at, l.v, l.has = at, v, true
}

// begin takes the rest from before the step, which began at a time.
func (l *learning) begin(at time.Duration) {
	for _, w := range l.was {
		if w.at <= at {
			l.rest = w.v
		}
	}
	l.was = nil
}

// addLong takes how far long-term trim has moved, %.
func (l *learning) addLong(moved float64) {
	l.low, l.top = min(l.low, l.sum), max(l.top, l.sum)
	l.n, l.sx, l.sy = l.n+1, l.sx+l.sum, l.sy+moved
	l.xx, l.xy, l.yy = l.xx+l.sum*l.sum, l.xy+l.sum*moved, l.yy+moved*moved
}

// Long-term trim comes in counts of 0.78 %, so that a change of it is known to 0.32 % (one standard deviation, √2 · 0.78/√12); where the law
// leaves more than oddLearning, this computer has another.
const (
	changeKnown = 0.32 // %
	oddLearning = 0.7  // %
)

// The law itself is hardly known: a factor of two in the pace held 19 of 20 returns of simulated cars, without it 16 were held.

// foresee solves x' = k (rest − x), from x = off to where |x| is LearnedBack.
func (l *learning) foresee(off float64) (after, lo, hi time.Duration, no bool) {
	d := l.xx*l.n - l.sx*l.sx
	if l.n < 5 || d <= 0 || l.top-l.low < 50 {
		return 0, 0, 0, true
	}
	k := (l.xy*l.n - l.sx*l.sy) / d
	left := l.yy/l.n - math.Pow(l.sy/l.n, 2) - k*(l.xy/l.n-l.sx*l.sy/l.n/l.n)
	err := changeKnown / (l.top - l.low)
	to := math.Copysign(LearnedBack, off)
	if k <= 0 || math.Sqrt(max(left, 0)) > oddLearning || math.Abs(l.rest) >= LearnedBack {
		return 0, 0, 0, true
	}
	seconds := func(off, rate float64) time.Duration {
		far := (off - l.rest) / (to - l.rest)
		if rate <= 0 || far <= 1 {
			return map[bool]time.Duration{true: math.MaxInt64, false: 0}[far > 1]
		}
		return time.Duration(min(math.Log(far)/rate, 1e6) * float64(time.Second))
	}
	count := math.Copysign(0.4, off) // where it is now is known to half a count
	return seconds(off, k), seconds(off-count, 2*k+2*err), seconds(off+count, k/2-2*err), false
}
