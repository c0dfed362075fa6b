package trimmap

import (
	"math"

	"pushback/analysis/reason"
)

// Idle is a bank's total trim at idle at the start of a session and minutes later.
//
// Some computers learn a term at idle that is added to the fuel and that no trim shows (a maker's workshop text, one
// family): trim then walks back to zero while the leak that it made up for is still there.
type Idle struct {
	First, Later float64 // %, means
	Minutes      float64 // that lie between
	Says         reason.Reason
}

// How idles are compared. The numbers are common practice without a source, but for the change: an unchanged car's
// trim differs by 2 % from recording to recording (see package compare), and twice that is said.
const (
	idleSpeed   = 1200.0 // rpm, below
	idleFirst   = 120.0  // s from the first idle reading on are its start
	idleApart   = 300.0  // s later it is looked at again
	idleChanges = 4.0    // %
)

// part is one of the two idles.
type part struct {
	n    int // readings, a second apart at least
	last float64
	sum  float64
}

func (p *part) add(r *Reading) {
	if p.n > 0 && r.At < p.last+1 {
		return
	}
	p.n, p.last, p.sum = p.n+1, r.At, p.sum+r.Total()
}

func (p part) mean() float64 { return p.sum / float64(p.n) }

// idles are what a bank has read at idle.
type idles struct {
	opened       bool    // it idled
	first        float64 // s, when at first
	start, later part
}

func (i *idles) add(r *Reading) {
	if !(r.RPM < idleSpeed) {
		return
	}
	if !i.opened {
		i.opened, i.first = true, r.At
	}
	switch {
	case r.At < i.first+idleFirst:
		i.start.add(r)
	case r.At >= i.first+idleApart:
		i.later.add(r)
	}
}

// idle compares; nil: one of the two was not read for long enough.
func (i idles) idle() *Idle {
	if i.start.n < perThird || i.later.n < perThird {
		return nil
	}
	x := &Idle{First: i.start.mean(), Later: i.later.mean(), Minutes: (i.later.last - i.first) / 60}
	switch moved := x.Later - x.First; {
	case math.Abs(moved) < idleChanges:
		x.Says = reason.IdleSame.Of()
	case math.Abs(x.Later) < math.Abs(x.First):
		x.Says = reason.IdleWalkedBack.Of()
	default:
		x.Says = reason.IdleMovedAway.Of()
	}
	return x
}
