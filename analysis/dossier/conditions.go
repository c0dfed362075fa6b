package dossier

import (
	"maps"
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
	ranges map[string]*Range // nil: a signal that says nothing of it
	fuel   map[byte]int      // readings of FUELSYS1 by value
}

func newConditions() conditions {
	return conditions{ranges: map[string]*Range{}, fuel: map[byte]int{}}
}

func (c *conditions) add(s decode.Sample) {
	if s.Missing {
		return
	}
	name := s.Signal.Name
	if name == "FUELSYS1" {
		c.fuel[byte(s.Value)]++
		return
	}
	r, known := c.ranges[name]
	if !known {
		if slices.Contains(conditionNames, name) {
			r = &Range{Name: name, Unit: s.Signal.Unit, Min: s.Value, Max: s.Value}
		}
		c.ranges[name] = r
	}
	if r == nil {
		return
	}
	r.Min, r.Max, r.Count = min(r.Min, s.Value), max(r.Max, s.Value), r.Count+1
}

// all are the ranges of what was read.
func (c *conditions) all() []Range {
	var out []Range
	for _, name := range conditionNames {
		if r := c.ranges[name]; r != nil {
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
	for _, b := range slices.Sorted(maps.Keys(c.fuel)) {
		out = append(out, FuelShare{b, c.fuel[b]})
	}
	slices.SortStableFunc(out, func(a, b FuelShare) int { return b.Count - a.Count })
	return out
}
