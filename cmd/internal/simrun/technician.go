// Package simrun runs a simulated car for people: serves it on a line, obeys what is typed,
// and does a technician's work on it.
package simrun

import (
	"slices"
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
	Beside   *hands.Hands // at the other bank's wire, where both are held; nil: nobody's
	By       analysis.By  // what they force; "": the wire
	Controls live.Controls

	warm   bool
	due    time.Duration // when they have waited enough for a car that is not ready; 0: they do not wait
	step   string
	second string // the sensor of Beside
}

// Prompt takes in what is to be done.
func (s *Technician) Prompt(p session.Prompt) {
	step := p.Step(s.By)
	if s.Beside != nil {
		if len(p.Sensors) == 2 {
			s.second = p.Sensors[1]
		}
		if p.New && slices.Contains(p.Sensors, s.second) {
			s.Beside.Prompt(step)
		}
		if len(p.Sensors) == 1 && p.Sensors[0] == s.second {
			s.step = step
			return
		}
	}
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
	words := s.Hands.Due()
	if s.Beside != nil {
		words = append(words, s.Beside.Due()...)
	}
	for _, word := range words {
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
