package dossier

import (
	"slices"

	"pushback/decode"
)

// Range is what a signal went through.
type Range struct {
	Name     string // the standard's short name
	Unit     string
	Min, Max float64
	Count    int // readings
}

// conditionNames are the signals that say how the engine ran, in the order in which they are told.
var conditionNames = []string{"ECT", "RPM", "LOAD_PCT", "VSS", "LONGFT1", "LONGFT2", "EQ_RAT11", "EQ_RAT21"}

// conditions gathers under what conditions a session ran.
type conditions struct {
	tells  decode.Roles[*Range] // nil: a signal that says nothing of it
	ranges map[string]*Range
	fuel   [256]int // readings of FUELSYS1 by value
}

// countedStatus stands for the signal whose values are counted.
var countedStatus = &Range{Name: "FUELSYS1"}

func newConditions() conditions {
	ranges := map[string]*Range{}
	return conditions{ranges: ranges, tells: decode.NewRoles(func(name string) *Range {
		switch {
		case name == countedStatus.Name:
			return countedStatus
		case slices.Contains(conditionNames, name):
			ranges[name] = &Range{Name: name}
		}
		return ranges[name]
	})}
}

func (c *conditions) add(s decode.Sample) {
	r := c.tells.Of(s.Signal)
	switch {
	case r == nil || s.Missing:
	case r == countedStatus:
		c.fuel[byte(s.Value)]++
	case r.Count == 0:
		r.Unit, r.Min, r.Max, r.Count = s.Signal.Unit, s.Value, s.Value, 1
	default:
		r.Min, r.Max, r.Count = min(r.Min, s.Value), max(r.Max, s.Value), r.Count+1
	}
}

// all are the ranges of what was read.
func (c *conditions) all() []Range {
	var out []Range
	for _, name := range conditionNames {
		if r := c.ranges[name]; r != nil && r.Count > 0 {
			out = append(out, *r)
		}
	}
	return out
}

// FuelShare is how many readings of the first fuel system's status had one value.
type FuelShare struct {
	Status byte
	Count  int
}

// shares are the statuses of the first fuel system, the most frequent first.
func (c *conditions) shares() []FuelShare {
	var out []FuelShare
	for b, n := range c.fuel {
		if n > 0 {
			out = append(out, FuelShare{byte(b), n})
		}
	}
	slices.SortStableFunc(out, func(a, b FuelShare) int { return b.Count - a.Count })
	return out
}
