// Package simrun runs a simulated car for people: serves it on a line, obeys what is typed,
// and does a technician's work on it.
package simrun

import (
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/obd"
	"pushback/obd/simcar/hands"
)

// Technician stands in for a person in front of a simulated car: their hands do what the prompts
// say, in their own way. It is a rig.Technician.
type Technician struct {
	Hands    *hands.Hands
	By       analysis.By // what they force; "": the wire
	Controls live.Controls

	warm bool
	due  time.Duration // when they have waited enough for a car that is not ready; 0: they do not wait
	step string
}

// Prompt takes in what is to be done.
func (s *Technician) Prompt(p session.Prompt) {
	step := p.Step(s.By)
	// Who was still busy when it was asked for sees it a moment later.
	if _, busy := s.Hands.Next(); p.New || !busy && step == s.step && p.Stage == session.StageForce {
		s.Hands.Prompt(step)
	}
	s.step = step
	switch {
	case p.Stage != session.StageReady:
		s.due = 0
	case len(p.Why) > 0 && s.warm && s.due == 0:
		// A warm engine that stays in open loop is worth a force all the same: it may
		// be the sensor that keeps it there.
		s.due = p.At + 4*time.Second
	}
}

// Write acts when the time has come.
func (s *Technician) Write(f session.Frame) error {
	for _, x := range f.Samples {
		if x.Signal.Name == "ECT" && !x.Missing {
			s.warm = x.Value >= limits.WarmCoolant
		}
	}
	if s.due > 0 && f.Record.At >= s.due {
		s.due = 0
		s.Controls.Skip()
	}
	for _, word := range s.Hands.Due() {
		switch word {
		case "tap":
			s.Controls.Enter()
		case "mark lean":
			s.Controls.Mark(obd.Mark{Kind: obd.MarkLean})
		case "mark rich":
			s.Controls.Mark(obd.Mark{Kind: obd.MarkRich})
		}
	}
	return nil
}
