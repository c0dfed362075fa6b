package dossier

import (
	"slices"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/decode"
)

// VehicleData is what a car's computers told of themselves.
type VehicleData struct {
	Codes       []Code
	Freeze      *Freeze   // the first code's; nil: none
	MoreFreeze  []Freeze  // of other codes, and of a code that came again
	Monitors    *Monitors // nil: not read
	Tests       []OwnTest
	BeforeClear *VehicleData // what was there when codes were cleared, without Tests; nil: they were not
}

// VehicleDataOf sorts out what was found, and puts the recording's own figures of the watched
// sensor (in bands) beside the computer's. The events tell which codes the test itself set.
func VehicleDataOf(found *session.Findings, events []analysis.Event, bands []switching.SpeedBand, watching string) VehicleData {
	v := VehicleData{Codes: codesOf(found), Freeze: freezeOf(found.Freeze), MoreFreeze: moreFreezeOf(found), Monitors: monitorsOf(found), Tests: ownTests(found.Tests, bands, watching)}
	for i := range v.Codes {
		v.Codes[i].ByTest = setByTest(events, v.Codes[i].Code)
	}
	if b := found.BeforeClear; b != nil {
		v.BeforeClear = &VehicleData{Codes: codesOf(b), Freeze: freezeOf(b.Freeze), MoreFreeze: moreFreezeOf(b), Monitors: monitorsOf(b)}
	}
	return v
}

// Code is a trouble code as it was read last.
type Code struct {
	Code   string // P0171
	State  string // of CodeStates
	ByTest bool   // it was set while the test ran, so by the test
}

// CodeStates are the states of a trouble code, in the order in which they are told.
var CodeStates = []string{"stored", "pending", "permanent"}

func codesOf(f *session.Findings) []Code {
	var out []Code
	for _, state := range CodeStates {
		for _, c := range f.Codes[state] {
			out = append(out, Code{Code: c, State: state})
		}
	}
	return out
}

func setByTest(events []analysis.Event, code string) bool {
	return slices.ContainsFunc(events, func(e analysis.Event) bool { return e.Name == analysis.CodeSet && e.Code == code })
}

// Presence says whether a code was there when codes were read.
type Presence uint8

// A code may be NotRead (again), NotThere, or There.
const (
	NotRead Presence = iota
	NotThere
	There
)

func presence(list []string, code string) Presence {
	if slices.Contains(list, code) {
		return There
	}
	return NotThere
}

// CodeHistory is how a session's trouble codes went from its first reading of them to its last.
type CodeHistory struct {
	Codes []CodeChange // each that was there at the beginning or at the end, by state, then code
	Once  []string     // states that were read once, or not again since they were cleared
	Twice []string     // states that were read at the beginning and at the end
}

// CodeChange is one code at the beginning and at the end of a session.
type CodeChange struct {
	Code
	First, Last Presence // Last is NotRead where its state was read once: that is no 'still there'
}

// codeHistory follows the codes of a session. What was read before codes were cleared counts as its
// beginning.
func codeHistory(f *session.Findings, events []analysis.Event) CodeHistory {
	var h CodeHistory
	for _, state := range CodeStates {
		var first []string
		times := 0
		for p := f; p != nil; p = p.BeforeClear {
			if n := p.CodeReadings[state]; n > 0 {
				first, times = p.FirstCodes[state], times+n
			}
		}
		last, read := f.Codes[state]
		again := read && times > 1
		all := slices.Concat(first, last)
		slices.Sort(all)
		for _, code := range slices.Compact(all) {
			c := CodeChange{Code: Code{code, state, setByTest(events, code)}, First: presence(first, code)}
			if again {
				c.Last = presence(last, code)
			}
			h.Codes = append(h.Codes, c)
		}
		switch {
		case again:
			h.Twice = append(h.Twice, state)
		case times > 0:
			h.Once = append(h.Once, state)
		}
	}
	return h
}

// Freeze is a freeze frame: the conditions when its code was set, each signal once.
type Freeze struct {
	Code   string
	Values []Value
	Latest bool // not when it was set first, but when it came last
}

func moreFreezeOf(f *session.Findings) (all []Freeze) {
	for i := range f.MoreFreeze {
		all = append(all, *freezeOf(&f.MoreFreeze[i]))
	}
	return all
}

// Value is one signal's value in the standard's unit.
type Value struct {
	Name  string // the standard's short name
	Value float64
	Unit  string
}

// freezeOf returns what a freeze frame told; nil for none.
func freezeOf(f *session.Freeze) *Freeze {
	if f == nil {
		return nil
	}
	out := &Freeze{Code: f.Code, Latest: f.Latest}
	for _, s := range f.Samples {
		if s.Missing || slices.ContainsFunc(out.Values, func(v Value) bool { return v.Name == s.Signal.Name }) {
			continue
		}
		out.Values = append(out.Values, Value{s.Signal.Name, s.Value, s.Signal.Unit})
	}
	return out
}

// Monitors are those of the engine's computer that the car supports, as last read.
type Monitors struct {
	Complete, Incomplete []string
	Finished             []string // open when they were first read, complete now
}

func monitorsOf(f *session.Findings) *Monitors {
	if f.Readiness == nil {
		return nil
	}
	m := &Monitors{Incomplete: f.Readiness.Incomplete(), Finished: finished(f.FirstReadiness, f.Readiness)}
	for _, x := range f.Readiness.Monitors {
		if x.Supported && x.Complete {
			m.Complete = append(m.Complete, x.Name)
		}
	}
	return m
}

// finished lists the monitors that were open before and are complete now.
func finished(before, now *decode.Readiness) []string {
	if before == nil || now == nil {
		return nil
	}
	open := now.Incomplete()
	return slices.DeleteFunc(before.Incomplete(), func(name string) bool { return slices.Contains(open, name) })
}

// Readiness is the monitors as they were read first and last. Where they were read once the two
// are the same pointer; nil: not read.
type Readiness struct{ First, Last *decode.Readiness }

func readinessOf(f *session.Findings) Readiness {
	r := Readiness{f.FirstReadiness, f.Readiness}
	for p := f.BeforeClear; p != nil; p = p.BeforeClear {
		if p.FirstReadiness != nil {
			r.First = p.FirstReadiness
		}
	}
	return r
}
