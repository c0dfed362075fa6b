package session

import (
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/wide"
	"pushback/decode"
	"pushback/obd"
)

// A Judge turns records into events and a verdict. It is the only way there, for a
// live session, a replay and an import alike, and it knows nothing but the
// records; so the same records give the same events.
type Judge struct {
	setup   Setup
	decoder decode.Decoder
	watch   *watchers
	beside  *beside // the other bank's sensor, whose wire is held in the same test; nil: it is not
	can     bool

	alike   *alike // nil: no records were said to be alike
	samples []decode.Sample
	events  []analysis.Event
	others  []analysis.Event // of the other bank's sensor
	request []byte

	silence silence
	end     time.Duration
	rows    int           // with values, so far
	rowAt   time.Duration // of the last
}

// NewJudge returns a judge for a session of this setup.
func NewJudge(s Setup) *Judge {
	return &Judge{setup: s, watch: newWatchers(s), can: s.Format.Bus.CAN()}
}

// Setup is what is judged.
func (j *Judge) Setup() Setup { return j.setup }

// Step judges the next record.
func (j *Judge) Step(rec obd.Record) Frame {
	j.samples = j.Decode(rec, j.samples[:0])
	return j.Watch(rec, j.samples)
}

// Decode is the first half of [Judge.Step]: it appends the samples of the next record to out. It takes nothing from the second
// half and gives it nothing but them, so of a stored session it may go ahead in a goroutine of its own.
func (j *Judge) Decode(rec obd.Record, out []decode.Sample) []decode.Sample {
	switch {
	case rec.Exchange != nil:
		return j.decode(rec, out)
	case rec.Row != nil:
		return j.row(rec.At, rec.Row, out)
	}
	return out
}

// Watch is the second half of [Judge.Step]: it judges the next record by its samples.
func (j *Judge) Watch(rec obd.Record, samples []decode.Sample) Frame {
	f := Frame{Record: rec, Samples: samples}
	j.watchIn(&f)
	return f
}

// watchIn judges a frame by its record and samples, and has it say what follows: millions of frames are not copied.
func (j *Judge) watchIn(f *Frame) {
	j.events, j.others = j.events[:0], j.others[:0]
	rec := &f.Record
	j.end = max(j.end, rec.At)
	switch {
	case rec.Exchange != nil:
		j.exchange(rec.At, rec.Exchange, f.Samples)
	case rec.Row != nil:
		j.gap(j.silence.data(rec.At))
		j.look(f.Samples)
	case rec.Mark != nil:
		j.mark(rec.At, rec.Mark)
	}
	j.emit(j.watch.choose())
	if j.beside != nil {
		j.emitBeside(j.beside.watch.choose())
	}
	f.Events, f.Beside = j.events, j.others
}

// Finish ends the session at the time of its last record.
func (j *Judge) Finish() Frame {
	j.events, j.others = nil, nil
	j.gap(j.silence.end(j.end))
	j.emit(j.watch.finish(j.end))
	if j.beside != nil {
		j.emitBeside(j.beside.watch.finish(j.end))
	}
	return Frame{Record: obd.Record{At: j.end}, Events: j.events, Beside: j.others, Last: true}
}

// Verdict is the verdict on all records so far; where both banks' wires are held, on both, see [analysis.Joined].
func (j *Judge) Verdict() analysis.Verdict {
	v := j.watch.chosen().Verdict()
	if b := j.beside; b != nil {
		other := b.watch.chosen().Verdict()
		v.Sensor, other.Sensor = j.setup.Sensor.String(), b.sensor.String()
		v = analysis.Joined(v, other)
	}
	return v
}

// Barred reports whether the car must not be tested now, and whether waiting never changes that.
func (j *Judge) Barred() (now, always bool) { return j.watch.chosen().Barred() }

// Figures is what the records show apart from any force.
func (j *Judge) Figures() analysis.Figures { return j.watch.chosen().Figures() }

// Doses are the oxygen that the session's forces have moved; none of a wide-range sensor.
func (j *Judge) Doses() []analysis.Dose {
	if w, ok := j.watch.chosen().(interface{ Doses() []analysis.Dose }); ok {
		return w.Doses()
	}
	return nil
}

// Weighed are the stretches that were weighed, with their odds; none of a wide-range sensor.
func (j *Judge) Weighed() []analysis.Weighed {
	if w, ok := j.watch.chosen().(interface{ Weighed() []analysis.Weighed }); ok {
		return w.Weighed()
	}
	return nil
}

// Reasons is what the verdict weighed, line by line; see [analysis.Watcher.Reasons].
//
// Special cases are: where both banks' wires are held, those of each begin with its sensor.
func (j *Judge) Reasons() []reason.Reason {
	out := j.watch.chosen().Reasons()
	if b := j.beside; b != nil {
		out = append(append([]reason.Reason{reason.OfSensor.Of(j.setup.Sensor.String())}, out...), reason.OfSensor.Of(b.sensor.String()))
		out = append(out, b.watch.chosen().Reasons()...)
	}
	return out
}

// Kind is that of the watched sensor, as its readings have told; unknown before the first.
func (j *Judge) Kind() decode.Kind { return j.watch.kind }

// NeverForce reports whether the readings have told a wide-range sensor that is shown as a narrow one: its wire must not be forced.
func (j *Judge) NeverForce() bool {
	never := func(x *watchers) bool {
		w, narrow := x.chosen().(*analysis.Watcher)
		return narrow && w.NeverForce()
	}
	return never(j.watch) || j.beside != nil && (never(j.beside.watch) || j.beside.watch.kind == decode.WideRange)
}

// By is what is taken to be forced: what was said, else what the kind of the sensor leaves.
func (j *Judge) By() analysis.By {
	if j.setup.Unsaid && j.watch.kind == decode.WideRange {
		return j.watch.cfg.By
	}
	return j.setup.By
}

// LeanOnly reports whether only the lean side is to be held: of the sensor behind the catalyst where the one in front is a
// wide-range one.
func (j *Judge) LeanOnly() bool {
	w, is := j.watch.chosen().(*wide.Watcher)
	return is && w.ByRear()
}

// Decoder is what the records have told about the car so far.
func (j *Judge) Decoder() *decode.Decoder { return &j.decoder }

func (j *Judge) decode(x obd.Record, out []decode.Sample) []decode.Sample {
	if x.Alike == 0 {
		return j.decodeNew(x, out)
	}
	if j.alike == nil {
		j.alike = new(alike)
	}
	had, learned := len(out), j.decoder.Learned()
	a := &j.alike[x.Alike%obd.Alike(len(j.alike))]
	if a.number == x.Alike && a.learned == learned {
		for _, s := range a.samples {
			s.Sent, s.Received = x.Sent, x.At
			out = append(out, s)
		}
		return out
	}
	out = j.decodeNew(x, out)
	if j.decoder.Learned() == learned {
		*a = remembered{x.Alike, learned, slices.Clone(out[had:])}
	}
	return out
}

// alike is what some exchanges gave that were like others, each where its number says: a car says the same again and again, and that is
// not decoded twice.
type alike [4096]remembered

// remembered is the samples, but for their times, of the exchanges with a number, while no more than this was learned of the car.
type remembered struct {
	number  obd.Alike
	learned int
	samples []decode.Sample
}

func (j *Judge) decodeNew(x obd.Record, out []decode.Sample) []decode.Sample {
	j.request = x.Request.AppendTo(j.request[:0])
	had := len(out)
	if x.Outcome == obd.OK {
		for _, r := range x.Replies {
			// A reply that cannot be decoded gives no samples, which is noticed below.
			out, _ = j.decoder.Reply(r.From, j.request, r.Data, x.Sent, x.At, out)
		}
	}
	if len(out) == had {
		out = j.decoder.Missing(j.request, x.Sent, x.At, out)
	}
	return out
}

func (j *Judge) exchange(at time.Duration, x *obd.Exchange, samples []decode.Sample) {
	if (x.Outcome == obd.OK || x.Outcome == obd.Refused) && !x.Pending() {
		j.gap(j.silence.data(at))
	} else { // an answer that was put off is none yet
		j.silence.nothing(x.Outcome)
	}
	j.look(samples)
	switch x.Request.Service {
	case 0x03, 0x07, 0x0A:
		if codes, ok := readCodes(x, j.can); ok {
			j.each(func(w watcher) []analysis.Event { return w.Codes(at, x.Request.Service, codes) })
		}
	}
}

// longestReading is what the reading of one row of values may have taken.
const longestReading = 500 * time.Millisecond

// row takes a line of a table, which tells when its values had come but not when they were
// asked for. Readings come one after the other: that was not before the line above.
func (j *Judge) row(at time.Duration, r *obd.Row, out []decode.Sample) []decode.Sample {
	sent := at
	if len(r.Names) > 0 {
		if j.rows > 0 {
			sent = max(j.rowAt, at-longestReading)
		}
		j.rows++
		j.rowAt = at
	}
	for i, name := range r.Names {
		if s := decode.ByName(name); s != nil {
			out = append(out, decode.Sample{Signal: s, Sent: sent, Received: at, Value: r.Values[i]})
		}
	}
	return out
}

func (j *Judge) mark(at time.Duration, m *obd.Mark) {
	switch m.Kind {
	case obd.MarkLean, obd.MarkRich:
		j.one(true, func(w watcher) []analysis.Event { return w.Mark(at, analysis.Side(m.Kind)) })
	case obd.MarkRelease:
		j.one(false, func(w watcher) []analysis.Event { return w.Release(at) })
	case obd.MarkOpen:
		j.emit(j.watch.guided(func(w guidedWatcher) []analysis.Event { return w.Open(at) }))
	case obd.MarkStep:
		step, sensors, _ := strings.Cut(m.Text, " ")
		j.told(sensors)
		if side, told := asksFor(step); told {
			ask := func(w guidedWatcher) []analysis.Event { return w.Asked(at, side, step == "open_level") }
			j.emit(j.watch.guided(ask))
			if j.beside != nil {
				j.emitBeside(j.beside.watch.guided(ask))
				j.beside.asked(at, side)
			}
		}
	}
}

func (j *Judge) look(samples []decode.Sample) {
	for i := range samples {
		s := &samples[i]
		j.emit(j.watch.step(s))
		if j.beside != nil {
			j.emitBeside(j.beside.watch.step(s))
		}
	}
}

func (j *Judge) gap(from, to time.Duration, cause string) {
	if cause != "" {
		j.each(func(w watcher) []analysis.Event { return w.Gap(from, to, cause) })
	}
}

func (j *Judge) emit(e []analysis.Event) {
	if len(e) > 0 { // seldom
		j.events = append(j.events, e...)
	}
}

// silence notices when nothing came for too long to go unmentioned.
type silence struct {
	heard       bool
	first, last time.Duration // of what was received
	count       int
	worst       obd.Outcome // since then
	began       bool        // something failed since then
}

// quiet is how long a session may go without any data before that is a gap:
// longer than any bus takes for one exchange with its retries.
const quiet = 2 * time.Second

// data notes that something was received, and returns the gap that it ends; no
// cause: none.
func (s *silence) data(at time.Duration) (from, to time.Duration, cause string) {
	from, to, cause = s.end(at)
	if !s.heard {
		s.first, s.heard = at, true
	}
	s.last, s.count = at, s.count+1
	s.began, s.worst = false, obd.OK
	return from, to, cause
}

// nothing notes an attempt that brought no data.
func (s *silence) nothing(o obd.Outcome) {
	s.began = true
	// The trouble nearest to the tool explains the rest.
	if s.worst == obd.OK || o == obd.LinkLost || (o == obd.AdapterReset && s.worst != obd.LinkLost) {
		s.worst = o
	}
}

// end returns the gap that would end now.
func (s *silence) end(at time.Duration) (from, to time.Duration, cause string) {
	if !s.heard {
		return 0, 0, ""
	}
	// A recording made elsewhere may have a row each few seconds and no gap.
	usual := func() bool { return s.count > 1 && at-s.last <= 5*(s.last-s.first)/time.Duration(s.count-1) }
	switch {
	case s.began && s.worst == obd.LinkLost:
		return s.last, at, "link lost"
	case s.began && s.worst == obd.AdapterReset:
		return s.last, at, "adapter reset"
	case at-s.last > quiet && !usual():
		return s.last, at, "no reply"
	}
	return 0, 0, ""
}
