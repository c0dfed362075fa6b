package wide

import (
	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/decode"
)

// offsetWatch looks for what the loop cannot show by itself: it makes the reading equal to the command
// whatever is true. Only the sensor behind the catalyst, and the trims that it makes, can contradict.
type offsetWatch struct {
	contrary  float64 // since when the two sensors contradict, s; 0: they do not
	most      float64 // the longest such time
	lambda    float64
	rear      float64
	trimSince float64 // since when the rear's trims lie far out, s
	trimMost  float64
	off       float64 // how far the ratio lies from its command, over some 10 s
	offAt     float64
	trim      float64
}

// The limits and their times (those of one car family's text).
const (
	contraryFor = 10.0 // s
	rearTrimFar = 3.0  // %
	rearTrimFor = 30.0 // s
)

func (o *offsetWatch) step(w *Watcher, t float64) {
	s, has := w.status.Last()
	if has && !isClosed(s.V) {
		o.contrary, o.trimSince = 0, 0
		return
	}
	l, hasL := w.own.lambda.Last()
	v, hasV := w.own.rear.Last()
	if hasL && hasV && t-v.T() < 5 && (l.V < 0.90 && v.V < 0.20 || l.V > 1.10 && v.V > 0.75) {
		if o.contrary == 0 {
			o.contrary = t
		}
		if d := t - o.contrary; d > o.most {
			o.most, o.lambda, o.rear = d, l.V, v.V
		}
	} else {
		o.contrary = 0
	}
	short, hasT := w.own.rearTrim.Last()
	long, hasG := w.own.rearLong.Last()
	sum := decode.TotalTrim(short.V, long.V)
	// Where the loop does not bring the ratio to its command, the rear sensor contradicts the loop and not the sensor.
	if hasL {
		o.off += min(1, (t-o.offAt)/contraryFor) * (l.V/w.command.Hold(t-usualDelay, 1) - 1 - o.off)
		o.offAt = t
	}
	if (hasT || hasG) && abs(sum) >= rearTrimFar-0.1 && abs(o.off) < ratioBack && !w.busy() { // a mixture that was moved moves it too
		if o.trimSince == 0 || sum*o.trim < 0 {
			o.trimSince = t
		}
		o.trim = sum
		o.trimMost = max(o.trimMost, t-o.trimSince)
	} else {
		o.trimSince = 0
	}
}

func (o *offsetWatch) weigh(r *ring) {
	switch {
	case o.most >= contraryFor:
		r.force(analysis.ProofScale, analysis.Failed, reason.Contrary.Of(o.lambda, o.rear, o.most), "ratio", o.lambda, "rear_v", o.rear, "seconds", o.most)
	case o.trimMost >= rearTrimFor:
		// An exhaust leak ahead of the sensor and a cylinder that burns otherwise make it as far wrong as it makes itself.
		r.offset = true
		r.force(analysis.ProofScale, analysis.Unclear, reason.RearTrimStood.Of(o.trim, o.trimMost).And(reason.LeakCylinderOrSensor), "rear_trim_pct", o.trim, "seconds", o.trimMost)
	}
}
