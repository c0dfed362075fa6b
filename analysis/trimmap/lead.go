package trimmap

import (
	"slices"

	"pushback/analysis/reason"
	"pushback/decode"
)

// Guidance is what a drive that fills the map needs now.
type Guidance struct {
	Step   string        // names the condition: map_idle, map_1500, map_2500, map_cruise, map_pull, map_idle_again; done
	What   reason.Reason // the condition; nil when it is done
	Have   int           // readings near its air flow, a second apart at least, of Want
	Want   int
	Cell   *Cell   // of the bank, that is being filled; nil: nothing counts now
	Bank   int     // that the step is for; 0: nothing was read yet
	Enough bool    // leak, supply and scale are told apart, or nothing is left to drive that would tell more
	Apart  bool    // they are
	Wait   float64 // s until what is read counts for the step; 0: it does now
}

// Lead leads through the drive that fills the map. It takes the samples of a session, in order of time.
type Lead struct {
	c       Collector
	checked float64
	last    Guidance
}

// checkEvery is how often the map is looked at, s: a fit takes a while after an hour.
const checkEvery = 5.0

// Add takes one sample and reports whether the map was looked at again; Now has what came of it.
func (l *Lead) Add(s decode.Sample) bool {
	l.c.Add(s)
	if l.c.end < l.checked+checkEvery {
		return false
	}
	l.checked = l.c.end
	l.last = l.look()
	return true
}

// Now is what is needed, as of the last look.
func (l *Lead) Now() Guidance { return l.last }

func (l *Lead) look() Guidance {
	d := l.c.Data(nil, 0)
	banks := d.gathered()
	g := Guidance{Step: conditions[0].name, What: conditions[0].what.Of(), Want: perThird}
	all, open := true, false
	read := false
	for bank, b := range banks {
		if b == nil {
			continue
		}
		read = true
		told := apart(b.fit())
		all = all && told
		n, near, more := nextCondition(d, bank)
		if told || !more || open {
			continue
		}
		open = true
		g.Step, g.What, g.Have, g.Bank = n.name, n.what.Of(), near, bank
		if r := b.latest; r.At >= l.c.end-checkEvery {
			if cell, ok := At(r); ok {
				for _, c := range b.cells() {
					if c.CellAt == cell {
						g.Cell = &c
					}
				}
			}
		}
	}
	if !read || open {
		return g
	}
	for bank, b := range banks {
		if b == nil {
			continue
		}
		if i := b.idles; i.opened && i.later.n < perThird {
			return Guidance{Step: idleAgain.name, What: idleAgain.what.Of(), Have: i.later.n, Want: perThird, Bank: bank, Apart: all,
				Wait: max(0, i.first+idleApart-l.c.end)}
		}
	}
	return Guidance{Step: "done", Enough: true, Apart: all}
}

// apart reports whether a fit tells leak, supply and scale apart.
func apart(f Fit) bool {
	return f.Model == Full && !slices.Contains([]Pattern{NoData, Undecided, AddsSomehow, CutsSomehow}, judge(f))
}

// Enough reports whether the map needs no more driving: it tells leak, supply and scale apart for all banks, or
// nothing is left to drive that would.
func (m Map) Enough() bool {
	return len(m.Banks) > 0 && (m.Next == nil || !slices.ContainsFunc(m.Banks, func(r Result) bool { return !apart(r.Fit) }))
}
