package wide

import (
	"math"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// A change of the mixture that nobody announced may be a force, or tank vapour, a pedal, a leak that opens: by its size alone they
// are alike. What speaks for a force adds up as logarithms: how seldom this car's mixture steps by itself, how far and how long it
// went, whether the engine ran evenly and purge rested, and that people move both sides while vapour moves one. Nothing is told until
// that is enough, mostly with the second force; then it is told with its own times.

// unsaid is what is known of changes that nobody announced.
type unsaid struct {
	told   bool             // it counts as a force, and was told
	held   []analysis.Event // what is to be told of it if it comes to count
	even   float64          // 0 to 1: for what share of the time that is usual before a test the engine ran evenly, until its end
	road   motion           // what was read of the car's speed
	vented bool             // the purge valve moved as it began
	cut    bool             // the computer shut the fuel off meanwhile
	undoes float64          // how often what went on before ends so, 1/s: a change that had lasted too long to be a force, of the other side
}

// motion is what the speed tells.
type motion uint8

const (
	speedUnread motion = iota
	standing
	moving
)

// Odds and rates that are set (common practice, no source, where none is named).
const (
	tests        = 0.2      // odds that somebody tests who has not said so
	testWithin   = 300.0    // s: who tests has done so by then; later there were more chances to look like it, and fewer begin
	testLasts    = 150.0    // s: forces of one test come within so long of one another
	forceRate    = 1.0 / 25 // 1/s: how often one begins where somebody tests
	ownSteps     = 0.5      // a mixture is taken to step by itself so often …
	ownSeconds   = 150.0    // … in so long before anything of the car is known: a gamma law
	usualSize    = 0.07     // of a force
	ownSize      = 0.03     // of a step that the car makes by itself, in the mean
	usualLength  = 13.0     // s
	spreadOfSize = 0.45     // of the logarithms
	evenBefore   = 40.0     // s: who tests lets the engine run evenly for so long before, where no speed tells that the car stands
	evenStanding = 10.0     // and where one does
	uneven       = -3.0     // logarithm of how much likelier an engine that was never even makes it the car's own, less for each second that it was
	vented       = -3.0     // and a purge valve that has just moved
	shutOff      = -3.9     // and fuel that was shut off: ln of 0.01 of forces to 0.5 of an engine's own lean changes
	oneThousand  = 6.9      // log odds from which it is told: wrong once in a thousand
	leastFitted  = 0.005    // size of a change as the model has it, which may be none
	keepUnsaid   = 24       // changes that are remembered
	mostLog      = math.Ln2 // half of the car's own steps may be of a force's size and length
)

// unannounced is what is known of a session's changes beside those that were announced.
type unannounced struct {
	asked    asked
	ownSteps int // of the mixture, that came to no force
	unjudged int // forces that were announced when there were maxForces already
	goes     goingOn
}

// goingOn is a change that lasted too long to be a force: how it ends is no force either.
type goingOn struct {
	side        analysis.Side // "": none
	begin, size float64       // s, a fraction
}

// undoes is how often what goes on ends by such a change, 1/s: what has lasted for a time lasts as long again in the mean.
func (g goingOn) undoes(f *force) float64 {
	if g.side == "" || g.side == f.side {
		return 0
	}
	z := math.Log(f.size/g.size) / spreadOfSize
	return math.Exp(-z*z/2) / max(1, f.begin-g.begin)
}

// looks is what size, length and surroundings of a change say for a force, a logarithm.
func (f *force) looks() float64 { return f.sized() + f.lasted() + f.around() }

// bell is the law of what a force is like, by the logarithm.
func bell(x, usual float64) float64 {
	z := math.Log(x/usual) / spreadOfSize
	return math.Exp(-z*z/2) / (x * spreadOfSize * math.Sqrt(2*math.Pi))
}

// against weighs a force's law against the car's own, of which half may be like a force's: mostLog at the most.
func against(force, own float64) float64 { return math.Log(force / (0.5*own + 0.5*force)) }

func (f *force) sized() float64 {
	size := f.size
	if f.fitted {
		size = max(f.sign*f.fit.P, leastFitted)
	}
	return against(bell(size, usualSize), math.Exp(-size/ownSize)/ownSize)
}

// long is how long a force lasted, s.
func (f *force) long() float64 { return max(f.end-f.begin, 0.5) }

// ownLength is how likely a change that the car makes by itself lasts for so long, 1/s.
func ownLength(long float64) float64 { return 1 / (math.Log(60) * long) }

func (f *force) lasted() float64 { return against(bell(f.long(), usualLength), ownLength(f.long())) }

// around is what the engine, the purge valve and the road say.
func (f *force) around() float64 {
	x := float64(uneven * (1 - f.even))
	if f.vented {
		x += vented
	}
	if f.cut {
		x += shutOff
	}
	if f.road == moving {
		x += math.Log(analysis.MovingForce)
	}
	return x
}

// stepsBy is how often this car's mixture has stepped by itself, with what is taken before anything is known, but for a set of changes.
func (w *Watcher) stepsBy(set []*force) float64 {
	own := float64(w.ownSteps) + ownSteps
	for i := range w.forces {
		if f := &w.forces[i]; !f.marked && f.ended() && !slices.Contains(set, f) {
			own++
		}
	}
	return own
}

// odds are the log odds that somebody tests and made all of these changes, of the others that are known none.
func (w *Watcher) odds(set []*force) float64 {
	x := math.Log(tests) - 2*math.Log(max(1, w.now/testWithin))
	own := w.stepsBy(set)
	lean, rich := false, false
	for i, f := range set {
		x += math.Log(forceRate/((own+float64(i))/(w.now+ownSeconds)+f.undoes)) + f.looks()
		lean, rich = lean || f.side == analysis.Lean, rich || f.side == analysis.Rich
		switch {
		case i == 0:
		case lean && rich:
			x += analysis.SameSide
		default:
			x += float64(analysis.SameSide * float64(i)) // the longer the other side is left out, the less it looks like a test
		}
	}
	if lean && rich {
		x += analysis.OtherSide - analysis.SameSide
	}
	return x
}

// weighUnsaid asks whether a change that is over was a force, with those before it.
func (w *Watcher) weighUnsaid(f *force) {
	if f.marked || f.told {
		return
	}
	set := []*force{f}
	best := w.odds(set)
	for i := len(w.forces) - 1; i >= 0; i-- {
		g := &w.forces[i]
		if g == f || g.marked || !g.ended() || f.begin-g.begin > testLasts {
			continue
		}
		if x := w.odds(append([]*force{g}, set...)); x > best {
			best, set = x, append([]*force{g}, set...)
		}
	}
	if best < oneThousand {
		return
	}
	for _, g := range set { // by the sizes that the model has
		if !g.fitted {
			w.estimate(g)
		}
	}
	if w.odds(set) < oneThousand {
		return
	}
	for _, g := range set {
		w.counts(g)
	}
}

// mayCount reports whether one more change of the other side could make a force of this one: it is fitted while its readings are kept.
func (w *Watcher) mayCount(f *force) bool {
	return w.odds([]*force{f})+math.Log(forceRate*ownSeconds/(ownSteps+1))+analysis.OtherSide+2*mostLog >= oneThousand
}

// counts tells of a change that now counts as a force all that was held back.
func (w *Watcher) counts(f *force) {
	f.told, f.seen, w.hasVerdict = true, true, false
	w.events = append(w.events, f.held...)
	f.held = nil
	if f.closed && !f.fitted {
		w.estimate(f)
	}
}

// tell tells what a force has shown, or keeps it until the force counts.
func (w *Watcher) tell(f *force, e analysis.Event) {
	if f.marked || f.told {
		w.emit(e)
	} else {
		f.held = append(f.held, e)
	}
}

// dropUnsaid forgets the oldest change that came to nothing where too many are kept; its step stays this car's own.
func (w *Watcher) dropUnsaid() {
	if n := len(w.forces); n >= keepUnsaid {
		for i := range w.forces {
			if f := &w.forces[i]; !f.marked && !f.told && f.closed {
				w.forces = slices.Delete(w.forces, i, i+1)
				w.ownSteps++
				return
			}
		}
	}
}

// unsaid names the change that looked most like a force, where none counts as one.
func (r *ring) unsaid() {
	var best *force
	for i := range r.w.forces {
		if f := &r.w.forces[i]; len(r.forces) == 0 && len(r.w.told) == 0 && f.ended() && f.looks() > 0 && (best == nil || f.looks() > best.looks()) {
			best = f
		}
	}
	if best != nil && r.w.now < testWithin {
		r.by[analysis.ProofInput].Why = reason.MovedUnsaid.Of(100*best.size, best.begin)
	}
}

// asked is what a guide asked for from a moment on, s; "" is hands off.
type asked struct {
	side analysis.Side
	at   float64
}

// Asked takes what a guide asks for from now on: what begins then on that side is as good as said.
func (w *Watcher) Asked(at time.Duration, side analysis.Side, _ bool) []analysis.Event {
	w.events = w.events[:0]
	w.asked = asked{side, at.Seconds()}
	return w.events
}

// Open takes the word that a sensor's branch is open: nothing of this kind of sensor.
func (w *Watcher) Open(time.Duration) []analysis.Event { return nil }
