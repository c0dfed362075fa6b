package main

import (
	"pushback/analysis/dossier"
	"pushback/analysis/session"
)

// checklist is a sink that looks at the car in a test's first seconds as `vehicle` does, and
// tells the conditions that are not met beyond those that the watcher itself waits for.
type checklist struct {
	*survey
	judge *session.Judge
	found *session.Findings
	tell  func(dossier.Check)
	told  bool
	unmet []dossier.Check
}

func newChecklist(judge *session.Judge, found *session.Findings, asked func() bool, tell func(dossier.Check)) *checklist {
	return &checklist{survey: newSurvey(judge.Setup().Sensor.String(), asked, func() {}), judge: judge, found: found, tell: tell}
}

func (l *checklist) Write(f session.Frame) error {
	if l.told {
		return nil
	}
	if err := l.survey.Write(f); err != nil || !l.stopped {
		return err
	}
	l.told = true
	for _, c := range dossier.Checks(l.look, l.judge.Decoder().Sensors(), l.found, l.judge.Setup().Sensor) {
		if c.State == dossier.Unmet && !c.WaitedFor() {
			l.unmet = append(l.unmet, c)
			l.tell(c)
		}
	}
	return nil
}
