package session

import (
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// beside is the other bank's sensor in a test that holds both banks' wires: watched and judged as the first is. That there is
// one stands in the records: a guide's steps name the sensors that they are about, such as "go_lean B2S1", and the first names
// both; so live, replay and import are the same.
type beside struct {
	sensor decode.SensorID
	watch  *watchers
	both   *analysis.Both
	steps  [2]bool // whether the present step is about the first sensor, and about this one
	last   int     // which is named last in it
}

// told takes the sensors that a guide's step is about.
func (j *Judge) told(sensors string) {
	names := strings.Fields(sensors)
	own := j.setup.Sensor.String()
	if len(names) == 0 || len(names) > 2 || j.beside == nil && len(names) < 2 {
		return
	}
	if j.beside == nil {
		other := j.setup.Sensor.Beside()
		if !slices.Contains(names, own) || !slices.Contains(names, other.String()) || j.setup.By != analysis.ByWire {
			return
		}
		s := j.setup
		s.Sensor = other
		j.beside = &beside{sensor: other, watch: newWatchers(s)}
		a, first := j.watch.both[0].(*analysis.Watcher)
		b, second := j.beside.watch.both[0].(*analysis.Watcher)
		if !first || !second {
			j.beside = nil // a wide-range one's wire is never held
			return
		}
		j.beside.both = analysis.Join(a, b)
	}
	j.beside.steps = [2]bool{slices.Contains(names, own), slices.Contains(names, j.beside.sensor.String())}
	j.beside.last = slices.Index([]string{own, j.beside.sensor.String()}, names[len(names)-1])
}

// asked tells the judges of both which side of which a step asks for.
func (b *beside) asked(at time.Duration, side analysis.Side) {
	for i, is := range b.steps {
		if is {
			b.both.Asked(at.Seconds(), i, side)
		}
	}
}

// which is the sensor that a mark is about, 0 the first: of a step about both, what begins is the hold of the one that is named
// last, and what ends that of the other.
func (b *beside) which(begins bool) int {
	if b.steps[0] && b.steps[1] && !begins {
		return 1 - b.last
	}
	return max(b.last, 0)
}

// one gives something to the watcher that it is about.
func (j *Judge) one(begins bool, give func(watcher) []analysis.Event) {
	if j.beside != nil && j.beside.which(begins) == 1 {
		j.emitBeside(j.beside.watch.each(give))
		return
	}
	j.emit(j.watch.each(give))
}

// each gives something to the watchers of both.
func (j *Judge) each(give func(watcher) []analysis.Event) {
	j.emit(j.watch.each(give))
	if j.beside != nil {
		j.emitBeside(j.beside.watch.each(give))
	}
}

// emitBeside keeps what the other bank's watcher tells; what is of the whole car the first one tells.
func (j *Judge) emitBeside(events []analysis.Event) {
	for _, e := range events {
		switch e.Name {
		case analysis.GapSeen, analysis.CodeSet, analysis.Ready, analysis.NotReady:
			continue
		}
		e.Sensor = j.beside.sensor.String()
		j.others = append(j.others, e)
	}
}
