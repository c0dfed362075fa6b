package rig

import (
	"context"
	"errors"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/session"
	"pushback/obd"
	"pushback/obd/poll"
)

// Inspection is a short look at a car: nothing of it is stored.
type Inspection struct {
	*Survey
	Car     poll.Vehicle
	Quirks  []string // of the adapter
	Judge   *session.Judge
	Found   *session.Findings
	Refused error // the sensor cannot be tested by its wire; nil: it can
}

// Inspect looks at the car for some seconds, or until ctx is done. began is called before it.
func (r *Rig) Inspect(ctx context.Context, sensor string, began func()) (*Inspection, error) {
	d := r.Vehicle().Decoder
	setup, err := session.NewSetup(sensor, "", r.Vehicle().Format)
	if err != nil {
		return nil, err
	}
	if err := r.Readable(sensor); err != nil {
		return nil, err
	}
	began()
	judge := session.NewJudge(setup)
	once := session.NewOneTimeQueries(r, judge)
	i := &Inspection{Survey: NewSurvey(setup.Sensor, once.Done, r.Stop), Judge: judge, Car: r.Vehicle(), Found: session.NewFindings(judge)}
	for _, pid := range []byte{0x05, 0x1F} { // coolant, time since start: on a slow bus their turn would come late
		if d.Supports(pid) {
			r.Ask(obd.Request{Service: 0x01, Data: []byte{pid}})
		}
	}
	run, end := r.Orderly(ctx)
	defer end()
	if _, err := session.Run(run, r, judge, i.Found, once, i.Survey); err != nil && !errors.Is(err, context.Canceled) {
		return nil, err
	}
	i.Quirks = r.Quirks()
	if i.Refused = Suit(judge.Decoder(), sensor, analysis.ByWire); i.Refused != nil {
		i.Ready, i.Reasons = false, append(i.Reasons, hazard.Advice{Do: i.Refused.Error()})
	}
	return i, nil
}
