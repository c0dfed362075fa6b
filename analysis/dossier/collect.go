package dossier

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/agenda"
	"pushback/analysis/measure"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/analysis/switching"
	"pushback/analysis/trimmap"
	"pushback/decode"
	"pushback/obd"
)

// Hash is a running hash of records, as the store makes it.
type Hash interface {
	Add(obd.Record) error
	Sum() []byte
}

// Setup says how a session is to be judged, and what is known of it beside its records.
type Setup struct {
	session.Setup
	Vehicle string // as people named it; "" unknown
	Hash    Hash   // of no records yet; nil: none is wanted
	Traces  bool   // they are wanted: hours of readings take room
	Trims   bool   // the same
}

// Dossier is all that can be said of one session.
type Dossier struct {
	Setup   Setup
	Verdict analysis.Verdict
	Reasons []reason.Reason // what was weighed for it, as the judge gives them
	Events  []analysis.Event
	Figures analysis.Figures // over all engine speeds, while nobody forced
	VehicleData
	History    CodeHistory
	Readiness  Readiness
	Conditions []Range               // that were read
	Fuel       []FuelShare           // of the first fuel system
	Switching  []switching.SpeedBand // by engine speed, while nobody forced
	Measured   Measured              // beside the verdict
	Trace      *Trace                // nil: not wanted
	After      session.Aftermath     // what the test left in the computer
	Records    int
	Sum        []byte        // of the records; nil: not wanted
	End        time.Duration // of the last record

	trims     *trims
	codesRead map[string]bool // states
	forced    []trimmap.Span
}

// Collect judges the records of src and gathers what they show. It fails where src does.
//
// Special cases are: no records at all make a dossier too, whose verdict is that nothing was forced;
// a force that is still held at the end counts up to the last record.
func Collect(ctx context.Context, src session.Source, s Setup) (*Dossier, error) {
	c := NewCollector(s)
	res, err := session.Run(ctx, src, c.Judge, c)
	if err != nil {
		return nil, err
	}
	return c.Dossier(res), nil
}

// A Collector is the sink that gathers a dossier, for a session that is run by others too.
type Collector struct {
	Judge *session.Judge
	Found *session.Findings // so far

	d          *Dossier
	conditions conditions
	switches   *switching.Collector
	bundler    bundler // of what nobody asks for before the end
	also       []session.Sink
	ahead      bool // Ahead was called
}

// NewCollector returns a collector with the judge that the session is to be run with.
func NewCollector(s Setup) *Collector {
	judge := session.NewJudge(s.Setup)
	c := &Collector{Judge: judge, Found: session.NewFindings(judge), d: &Dossier{Setup: s, After: session.Aftermath{Sensor: s.Sensor},
		trims: &trims{}, Measured: Measured{collector: measure.NewCollector(s.Sensor.Bank)}},
		conditions: newConditions(), switches: switching.NewCollector(s.Sensor.String())}
	if s.Traces {
		c.d.Trace = NewTrace(s.Sensor)
	}
	c.bundler.take = c.take
	return c
}

// Ahead takes a record of a stored session before it is judged, in another goroutine if need be, and appends its samples to
// out: see [session.Judge.Decode]. Where one is taken so, all are.
func (c *Collector) Ahead(rec obd.Record, out []decode.Sample) ([]decode.Sample, error) {
	if !c.ahead { // set once, before the first Write: that one reads it in its own goroutine
		c.ahead = true
	}
	out = c.Judge.Decode(rec, out)
	return out, c.look(rec)
}

// look takes what only needs the record, and what the decoder knows of the car by then.
func (c *Collector) look(rec obd.Record) error {
	if h := c.d.Setup.Hash; h != nil {
		if err := h.Add(rec); err != nil {
			return err
		}
	}
	if m := rec.Mark; m != nil && m.Kind == obd.MarkNote {
		c.d.Measured.collector.Note(rec.At.Seconds(), m.Text)
	}
	if rec.Exchange != nil {
		c.Found.Take(rec.Exchange)
	}
	return nil
}

// Write takes one frame.
func (c *Collector) Write(f session.Frame) error {
	c.bundler.add(&f)
	switch {
	case f.Last:
		c.bundler.end()
	case !c.ahead:
		return c.look(f.Record)
	}
	return nil
}

// Also gives the frames to other sinks too, which do not fail and ask nothing of the judge: some hundreds late, those that tell nothing but samples together, all of
// them by the session's end.
func (c *Collector) Also(s ...session.Sink) { c.also = append(c.also, s...) }

// take takes from some frames what nobody asks for before the end. Each collector goes through all samples in turn.
func (c *Collector) take(f bundle) {
	for _, s := range f.samples {
		c.conditions.add(s)
	}
	for _, s := range f.samples {
		c.switches.Add(s)
	}
	for _, s := range f.samples {
		c.d.Measured.collector.Add(s)
	}
	if c.d.Setup.Trims {
		for _, s := range f.samples {
			c.d.trims.Add(s)
		}
	}
	for i := range f.all {
		c.frame(&f.all[i])
	}
	for _, s := range c.also {
		for _, one := range f.all {
			_ = s.Write(one)
		}
	}
}

// frame takes what else is in a frame.
func (c *Collector) frame(f *session.Frame) {
	for _, e := range f.Events {
		c.event(e)
	}
	_ = c.d.After.Write(*f) // like the trace it only looks
	if c.d.Trace != nil {
		_ = c.d.Trace.Write(*f)
	}
}

// event keeps in mind when somebody forced.
func (c *Collector) event(e analysis.Event) {
	d := c.d
	switch n := len(d.forced); e.Name {
	case analysis.ForceBegins:
		d.forced = append(d.forced, trimmap.Span{From: e.T, To: math.Inf(1)})
		d.Measured.holds = append(d.Measured.holds, measure.Hold{Rich: e.Side == analysis.Rich})
	case analysis.ForceEnds:
		if n > 0 {
			d.forced[n-1].To = e.T
		}
	}
}

// Dossier returns what was gathered, at the session's end.
func (c *Collector) Dossier(res session.Result) *Dossier {
	d := c.d
	if n := len(d.forced); n > 0 && math.IsInf(d.forced[n-1].To, 1) {
		d.forced[n-1].To = res.End.Seconds()
	}
	spans := make([]switching.Span, len(d.forced))
	for i, f := range d.forced {
		spans[i] = switching.Span(f)
	}
	d.Verdict, d.Reasons, d.Events, d.Figures = res.Verdict, c.Judge.Reasons(), res.Events, c.Judge.Figures()
	d.Records, d.End = res.Records, res.End
	var work sync.WaitGroup // hours of readings take a while
	if d.Setup.Trims {
		work.Go(func() { m := d.Trims(0); d.trims.made = &m })
	}
	d.Switching = c.switches.Bands(spans)
	work.Wait()
	d.VehicleData = VehicleDataOf(c.Found, d.Events, d.Switching, d.Setup.Sensor.String())
	d.Measured.finish(d.forced, d.Setup.By == analysis.ByMixture, c.Judge.Doses())
	d.codesRead = map[string]bool{}
	for state := range c.Found.Codes {
		d.codesRead[state] = true
	}
	d.History, d.Readiness = codeHistory(c.Found, d.Events), readinessOf(c.Found)
	d.Conditions, d.Fuel = c.conditions.all(), c.conditions.shares()
	if h := d.Setup.Hash; h != nil {
		d.Sum = h.Sum()
	}
	c.switches = nil // hours of readings that are not needed any more
	return d
}

// trims are gathered for a map.
type trims struct {
	trimmap.Collector
	made *trimmap.Map // without a displacement; nil: not made
}

// TrimData is the trims that count, with the engine's displacement in litres, 0 unknown.
func (d *Dossier) TrimData(litres float64) trimmap.Data { return d.trims.Data(d.forced, litres) }

// Trims is the map of the trims that count, with the engine's displacement in litres, 0 unknown.
func (d *Dossier) Trims(litres float64) trimmap.Map {
	if litres == 0 && d.trims.made != nil {
		return *d.trims.made
	}
	return trimmap.Build(d.TrimData(litres))
}

// Agenda is what the session has shown, sensor by sensor that was tested, for what is open in a visit of a car that has these sensors.
func (d *Dossier) Agenda(has []string) (out []agenda.Session) {
	trims := d.Trims(0)
	for _, v := range d.Verdict.Banks() {
		out = append(out, agenda.Session{Sensor: cmp.Or(v.Sensor, d.Setup.Sensor.String()), By: d.Setup.By, Wide: d.wide(), Verdict: v,
			Map: trims.Enough(), Trims: trimsOf(trims), Has: has})
	}
	return out
}

// wide reports whether the sensor is a wide-range one, or was refused as one.
func (d *Dossier) wide() bool {
	refused := func(e analysis.Event) bool {
		return slices.ContainsFunc(e.Reasons, func(r reason.Reason) bool { return r.Has(reason.WideAtAFifth) || r.Has(reason.WideNoWire) })
	}
	scaled := func(p analysis.Proof) bool { return p.ID == analysis.ProofScale }
	return d.Setup.Kind == decode.WideRange || slices.ContainsFunc(d.Verdict.Proofs, scaled) || slices.ContainsFunc(d.Events, refused)
}

// trimsOf is what a map says of the engine, the worst of its banks.
func trimsOf(m trimmap.Map) (worst agenda.Trims) {
	for _, b := range m.Banks {
		said := agenda.TrimsOff
		switch b.Pattern {
		case trimmap.NoData, trimmap.Undecided:
			said = agenda.TrimsOpen
		case trimmap.Normal:
			if said = agenda.TrimsSound; b.Fit.Model != trimmap.Full {
				said = agenda.SoundAtIdle
			}
		case trimmap.AddsAtIdle, trimmap.CutsAtIdle:
			said = agenda.OffAtIdle
		}
		if said == agenda.TrimsOpen && worst < agenda.TrimsOff {
			return agenda.TrimsOpen
		}
		worst = max(worst, said)
	}
	return worst
}

// Forcing is what shows that somebody forced the signal or the mixture.
type Forcing uint8

const (
	NotForced   Forcing = iota // nothing does
	ForceMarked                // the technician's marks alone
	ForceSeen                  // the watcher saw a force
)

// Forcing is how the session was forced.
func (d *Dossier) Forcing() Forcing {
	switch {
	case len(d.forced) > 0:
		return ForceSeen
	case d.Trace != nil && d.Trace.Marked():
		return ForceMarked
	}
	return NotForced
}
