package trimmap

import "pushback/analysis/reason"

// Purge is a bank's total trim at idle with the purge valve commanded open and shut (PID 2E): the difference is what comes
// from the tank.
type Purge struct {
	Open, Shut float64 // %, means
	Says       reason.Reason
}

// How purge is told. Common practice, no source.
const (
	purgeOpen  = 5.0 // % commanded
	purgeShut  = 1.0
	purgeMoves = 4.0 // % of trim
)

// purges are what a bank has read at idle by purge.
type purges struct{ open, shut part }

func (p *purges) add(r *Reading) {
	switch {
	case !(r.RPM < idleSpeed):
	case r.Purge >= purgeOpen:
		p.open.add(r)
	case r.Purge <= purgeShut:
		p.shut.add(r)
	}
}

// purge compares; nil: one of the two was not read for long enough.
func (p purges) purge(pattern Pattern) *Purge {
	if p.open.n < perThird || p.shut.n < perThird {
		return nil
	}
	x := &Purge{Open: p.open.mean(), Shut: p.shut.mean()}
	code := reason.PurgeNothing
	cuts := pattern == CutsAtIdle || pattern == CutsAll || x.Open < -Usual
	switch moved := x.Open - x.Shut; {
	case moved < -purgeMoves && x.Shut > -Usual && cuts:
		code = reason.PurgeIsIt
	case moved < -purgeMoves:
		code = reason.PurgeFuel
	case moved > purgeMoves:
		code = reason.PurgeAir
	case cuts:
		code = reason.PurgeIsNot
	}
	x.Says = reason.PurgeTrims.Of(x.Open, x.Shut).And(code)
	return x
}
