package main

import (
	"context"
	"encoding/json"
	"math"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/store"
)

// evidence is a sink that gathers what a stored session shows apart from its verdict:
// trims with their conditions, forces, and what the computers told of themselves.
type evidence struct {
	meta     store.Meta
	trims    *trimmap.Collector // nil: not wanted
	switches *switching.Collector
	forced   []trimmap.Span
	events   []analysis.Event
	verdict  analysis.Verdict
	figures  analysis.Figures
	reasons  []string // of the verdict
	*session.Findings
}

// gather runs a stored session through the judge again, and by other sinks too.
func gather(ctx context.Context, db *store.Store, ref string, sinks ...session.Sink) (*evidence, error) {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return nil, err
	}
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	setup, err := setupOf(m)
	if err != nil {
		return nil, err
	}
	judge := session.NewJudge(setup)
	e := newEvidence(m, judge)
	e.trims = &trimmap.Collector{}
	records, stop := newReadAhead(ctx, reader)
	defer stop()
	res, err := session.Run(ctx, records, judge, append([]session.Sink{e}, sinks...)...)
	if err != nil {
		return nil, err
	}
	e.end(res, judge)
	return e, nil
}

func newEvidence(m store.Meta, judge *session.Judge) *evidence {
	return &evidence{meta: m, switches: switching.NewCollector(m.Watching), Findings: session.NewFindings(judge)}
}

// end takes how the session ended.
func (e *evidence) end(res session.Result, judge *session.Judge) {
	e.verdict, e.figures, e.reasons = res.Verdict, judge.Figures(), judge.Reasons()
	if n := len(e.forced); n > 0 && math.IsInf(e.forced[n-1].To, 1) {
		e.forced[n-1].To = res.End.Seconds()
	}
}

func (e *evidence) Write(f session.Frame) error {
	for _, s := range f.Samples {
		if e.trims != nil {
			e.trims.Add(s)
		}
		e.switches.Add(s)
	}
	for _, v := range f.Events {
		e.events = append(e.events, v)
		switch n := len(e.forced); v.Name {
		case analysis.ForceBegins:
			e.forced = append(e.forced, trimmap.Span{From: v.T, To: math.Inf(1)})
		case analysis.ForceEnds:
			if n > 0 {
				e.forced[n-1].To = v.T
			}
		}
	}
	return e.Findings.Write(f)
}

// bands is how the watched sensor switches while nobody forces.
func (e *evidence) bands() []switching.Band {
	var forced []switching.Span
	for _, f := range e.forced {
		forced = append(forced, switching.Span(f))
	}
	return e.switches.Bands(forced)
}

// number is a float in JSON that may be unknown: NaN and infinity are null.
type number float64

// UnmarshalJSON reads null as NaN.
func (n *number) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*n = number(math.NaN())
		return nil
	}
	return json.Unmarshal(b, (*float64)(n))
}

func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(math.Round(float64(n)*1e4) / 1e4)
}
