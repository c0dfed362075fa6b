package main

import (
	"context"
	"encoding/json"
	"math"
	"slices"

	"pushback/analysis"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/session"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// evidence is a sink that gathers what a stored session shows apart from its verdict:
// trims with their conditions, forces, trouble codes, monitors.
type evidence struct {
	meta      store.Meta
	trims     trimmap.Collector
	forced    []trimmap.Span
	events    []analysis.Event
	codes     map[string][]string // by state: stored, pending, permanent; as last read
	readiness *decode.Readiness   // of the engine's computer, as last read
	verdict   analysis.Verdict
	figures   analysis.Figures
	judge     *session.Judge
}

// gather runs a stored session through the judge again.
func gather(ctx context.Context, db *store.Store, ref string) (*evidence, error) {
	m, err := db.Find(ctx, ref)
	if err != nil {
		return nil, err
	}
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	judge, err := session.NewJudge(watchConfig(m.Watching, m.By == "mixture"), m.Format)
	if err != nil {
		return nil, err
	}
	e := &evidence{meta: m, codes: map[string][]string{}, judge: judge}
	res, err := session.Run(ctx, reader, judge, e)
	if err != nil {
		return nil, err
	}
	e.verdict, e.figures = res.Verdict, judge.Figures()
	if n := len(e.forced); n > 0 && math.IsInf(e.forced[n-1].To, 1) {
		e.forced[n-1].To = res.End.Seconds()
	}
	return e, nil
}

func (e *evidence) Write(f session.Frame) error {
	for _, s := range f.Samples {
		e.trims.Add(s)
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
	if x := f.Record.Exchange; x != nil && x.Outcome == obd.OK {
		e.read(x)
	}
	return nil
}

func (e *evidence) read(x *obd.Exchange) {
	if state := codeStates[x.Request.Service]; state != "" {
		codes := []string{}
		for _, r := range x.Replies {
			if c, err := decode.Codes(x.Request.Service, e.meta.Format.Bus.CAN(), r.Data); err == nil {
				codes = append(codes, c...)
			}
		}
		slices.Sort(codes)
		e.codes[state] = slices.Compact(codes)
	}
	if x.Request.Service == 0x01 && slices.Equal(x.Request.Data, []byte{0x01}) {
		for _, r := range x.Replies {
			if engine := e.judge.Decoder().Engine(); engine != 0 && r.From != engine {
				continue
			}
			if ready, err := decode.ReadReadiness(r.Data); err == nil {
				e.readiness = &ready
			}
		}
	}
}

// codeStates names what a service that reads trouble codes tells of them.
var codeStates = map[byte]string{0x03: "stored", 0x07: "pending", 0x0A: "permanent"}

// number is a float in JSON that may be unknown: NaN and infinity are null.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(math.Round(float64(n)*1e4) / 1e4)
}
