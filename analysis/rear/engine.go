package rear

import (
	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/recent"
)

// What the engine's readings mean. Common practice, no source.
const (
	fullLoad  = 80.0   // %
	cutSpeed  = 1200.0 // rpm: below it fuel is back, where no status tells
	richRatio = 0.97   // lambda, commanded or read: the mixture is enriched
	freshFor  = 4.0    // s: how long a reading is taken to hold
)

// engine is what is read of the engine, the latest.
type engine struct {
	front, ratio witness // the sensor in front of the catalyst
	command      witness // the commanded lambda

	status    byte
	statusAt  float64
	hasStatus bool
	own       bool // the second fuel system is in use, and the bank's

	load, loadAt float64 // %
	hasLoad      bool
	air          float64 // g/s
	hasAir       bool

	speed recent.Series // rpm
}

// witness is a signal that tells which mixture there is.
type witness struct {
	at         float64
	lean, rich bool
	known      bool
}

func (x *witness) tell(t float64, lean, rich bool) { *x = witness{t, lean, rich, true} }

func (x *witness) says(t float64) (lean, rich bool) {
	fresh := x.known && t-x.at < freshFor
	return fresh && x.lean, fresh && x.rich
}

// tellStatus takes PID 03: the second system's, where it is in use, is that of banks 2 and 4; where not, one controls all.
func (e *engine) tellStatus(t float64, status byte, second bool, bank int) {
	if second {
		if e.own = status != 0 && bank%2 == 0; !e.own {
			return
		}
	} else if e.own {
		return
	}
	e.status, e.statusAt, e.hasStatus = status, t, true
}

// turn takes the engine's speed, rpm; a reading that follows another within a tenth of a second is left out, so that the series holds
// [analysis.LiftedIn].
func (e *engine) turn(t, rpm float64) {
	if last, has := e.speed.Last(); !has || t-last.T() >= 0.1 || rpm < limits.TurningSpeed {
		e.speed.Add(recent.Reading{Lo: t, Hi: t, V: rpm})
	}
}

// turns reports whether the engine runs; true where its speed is not read.
func (e *engine) turns() bool {
	last, has := e.speed.Last()
	return !has || last.V >= limits.TurningSpeed
}

// lifted reports whether the throttle was let go in the last seconds; false where no speed is read.
func (e *engine) lifted(t float64) bool {
	last, has := e.speed.Last()
	if !has || t-last.T() >= freshFor {
		return false
	}
	_, highest, _ := e.speed.Span(t-analysis.LiftedIn, t)
	return analysis.Lifted(last.V, highest)
}

// does is the side to which the engine drives the mixture now: lean in a fuel cut, rich at full load, "" neither. One that is running
// goes on with less. Told is whether anything beside the load says so.
func (e *engine) does(t float64, running analysis.Side) (side analysis.Side, told bool) {
	if !e.turns() {
		return "", false
	}
	loaded := e.hasLoad && t-e.loadAt < freshFor
	driving := e.hasStatus && analysis.OpenForDriving(e.status, t-e.statusAt)
	if loaded && e.load >= fullLoad {
		_, asked := e.command.says(t)
		_, rich := e.front.says(t)
		_, ratio := e.ratio.says(t)
		told = driving || asked || rich || ratio
		if told || !e.hasStatus && !e.command.known && !e.front.known && !e.ratio.known {
			return analysis.Rich, told
		}
		return "", false
	}
	if loaded && e.load > analysis.ShutLoad || !driving && (e.hasStatus || !loaded) {
		return "", false
	}
	if last, _ := e.speed.Last(); running != analysis.Lean && !e.lifted(t) || !driving && last.V < cutSpeed {
		return "", false
	}
	return analysis.Lean, driving
}
