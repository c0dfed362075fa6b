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
	"pushback/obd/simcar"
)

// Technician stands in for a person in front of a simulated car: they do what the prompts
// say, with a person's delay. It is a rig.Technician.
type Technician struct {
	Car      *simcar.Sim
	By       analysis.By // what they force; "": the wire
	Controls live.Controls

	holds bool
	warm  bool
	due   time.Duration
	act   func()
}

// Prompt takes in what is to be done.
func (s *Technician) Prompt(p session.Prompt) {
	switch p.Stage {
	case session.StageReady:
		// A warm engine that stays in open loop is worth a force all the same: it may
		// be the sensor that keeps it there.
		if len(p.Why) > 0 && s.warm && s.act == nil {
			s.due, s.act = p.At+4*time.Second, s.Controls.Skip
		}
	case session.StageForce:
		if p.New {
			s.due, s.act = p.At+time.Second, func() { s.force(p.Side) }
		}
	case session.StageRelease:
		if p.New {
			s.due, s.act = p.At+400*time.Millisecond, s.release
		}
	case session.StageAnswer:
		if s.holds {
			s.release()
		}
	}
}

func (s *Technician) force(side analysis.Side) {
	_ = s.Car.Apply(simcar.Force{Kind: forceKind(side, s.By == analysis.ByMixture)}) // a known kind is valid
	s.holds = true
	s.Controls.Mark(obd.Mark{Kind: obd.MarkKind(side)})
}

func (s *Technician) release() {
	s.Car.Release()
	s.holds, s.act = false, nil
	s.Controls.Mark(obd.Mark{Kind: obd.MarkRelease})
}

// Write acts when the time has come.
func (s *Technician) Write(f session.Frame) error {
	for _, x := range f.Samples {
		if x.Signal.Name == "ECT" && !x.Missing {
			s.warm = x.Value >= limits.WarmCoolant
		}
	}
	if act := s.act; act != nil && f.Record.At >= s.due {
		s.act = nil
		act()
	}
	return nil
}

func forceKind(side analysis.Side, mixture bool) simcar.ForceKind {
	switch {
	case mixture && side == analysis.Rich:
		return simcar.ForcePropane
	case mixture:
		return simcar.ForceVacuum
	case side == analysis.Rich:
		return simcar.ForceRich
	}
	return simcar.ForceLean
}
