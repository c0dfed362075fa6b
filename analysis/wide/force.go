package wide

import (
	"math"
	"slices"

	"pushback/analysis"
	"pushback/analysis/recent"
	"pushback/analysis/stats"
	"pushback/decode"
)

// force is one time at which the mixture was moved, with all that followed.
type force struct {
	side      analysis.Side
	sign      float64 // +1: fuel was added, −1: air
	marked    bool    // the technician said so
	otherwise bool    // and named the other side
	begun     bool    // it lasted, or was said
	seen      bool    // and was told
	span
	before
	size     float64 // the step that was seen, a fraction
	opened   bool
	openedAt float64
	trimAnswer
	absence
	says      map[bool]float64 // when the sensor reported rich (true) or lean (false), s
	recovered float64          // when the loop had come back, s; 0: it has not
	fits
	rearSays map[bool]bool // the sensor behind the catalyst went rich, lean
	rearRead bool
	made     made
	unsaid
}

// span is when a force was made, s.
type span struct {
	begin, lo, hi float64 // when the sensor saw it begin, and the readings about that
	end, endHi    float64 // 0: it goes on
	closed        bool
	broken        bool // the mixture came back long before the technician let go: something else moved it too
}

// brokenBy is how long before the technician's word the end of a force may be seen, s: a hand is late by less.
const brokenBy = 5.0

// before is what was there before a force, fractions.
type before struct {
	rest, noise float64 // of φ
	u0          float64 // of the commanded fuel
	trims, tn   float64 // and of that by trim alone
	cold        bool    // the engine was too cold for a test
}

// trimAnswer is whether and when trim answered.
type trimAnswer struct {
	answered, silent bool
	answerAt         float64
	after            [3]float64 // best, least, most, s
}

// absence is how long φ was away from its rest while trim stood.
type absence struct {
	awaySince float64 // s: since then, trim within a count; 0: it is not
	awayAt    float64 // where commanded fuel stood then
	awayLast  float64 // s: when it was last plainly away
	awaySum   float64 // of φ since awaySince, less its rest
	awayN     float64
	away      float64 // s: the longest such time
	limit     float64 // %: where short-term trim stood as far as it goes; 0: it did not
	atZero    bool    // short-term trim stood at its middle all that time, to which it had gone
}

// fits are the gains and lags that a force shows.
type fits struct {
	fit       Estimate
	fitted    bool
	fitAt     float64
	beside    Estimate // of the other bank, under the same flow
	hasBeside bool
}

// made is what trim had made of a force, fractions.
type made struct {
	end  float64 // how far commanded fuel had gone against it at its end
	came float64 // and how much of that came back within 10 s
	off  float64 // how far φ still was from its rest then
	over float64 // how far it overshot after the end
}

func (f *force) ended() bool { return f.end > 0 }

// running returns the force that is being made or whose return is being watched.
func (w *Watcher) running() *force {
	if n := len(w.forces); n > 0 && !w.forces[n-1].closed {
		return &w.forces[n-1]
	}
	return nil
}

func (w *Watcher) busy() bool { return w.running() != nil }

// How the technician's word counts: a force may begin so long before or after it was said, s; what was seen still earlier than
// saySurely before must stand out to be it.
const (
	sayNear   = 8.0
	saySurely = 3.0
)

// near is the mark without a force that was made close to t.
func (w *Watcher) near(t float64) *told {
	for i := range w.told {
		if m := &w.told[i]; !m.used && math.Abs(t-m.at) <= sayNear {
			return m
		}
	}
	return nil
}

// fuel is what the computer commands at t: both trims and the commanded ratio, as a fraction.
func (w *Watcher) fuel(b *bank, t float64) float64 {
	u := w.trimmed(b, t)
	if w.fed {
		u /= w.command.Hold(t, 1)
	}
	return u - 1
}

// trimmed is the factor that both trims put to the fuel at t.
func (w *Watcher) trimmed(b *bank, t float64) float64 {
	return 1 + decode.TotalTrim(b.trim.Line(t), b.long.Hold(t, 0))/100
}

// Lags of an ordinary ring for the search of steps, s: what is found is fitted afterwards.
const usualDelay = 0.4

// excess is the measured fuel, a fraction; where the computer feeds its steps of the ratio forward, without these.
func (w *Watcher) excess(r recent.Reading) float64 {
	if !w.fed {
		return 1/r.V - 1
	}
	return w.command.Hold(r.T()-usualDelay, 1)/r.V - 1
}

// disturbance is what moved the measured mixture beside the computer's command.
func (w *Watcher) disturbance(r recent.Reading) float64 {
	return 1/r.V - 1 - w.fuel(&w.own, r.T()-usualDelay)
}

// feedsForward notes which explains the readings at rest better: that the computer adds its change of the commanded
// ratio to the fuel by itself, or that it leaves it to trim. Both are met; that which steps less from reading to reading is right.
func (w *Watcher) feedsForward() {
	s := &w.own.lambda
	if s.Len() < 2 || w.busy() {
		return
	}
	a, b := s.At(s.Len()-2), s.At(s.Len()-1)
	if b.T()-a.T() > 2 {
		return
	}
	ta, tb := a.T()-usualDelay, b.T()-usualDelay
	ua, ub := w.trimmed(&w.own, ta), w.trimmed(&w.own, tb)
	for i := range w.roughness {
		if i == 1 {
			ua, ub = ua/w.command.Hold(ta, 1), ub/w.command.Hold(tb, 1)
		}
		d := (1/b.V - 1 - (ub - 1)) - (1/a.V - 1 - (ua - 1))
		w.roughness[i] = 0.98*w.roughness[i] + 0.02*min(d*d, 4e-4)
	}
	w.fed = w.roughness[1] < w.roughness[0]
}

// Windows of the search for a step, s: the latest readings against those before a flank's own time.
const (
	stepLast = 1.0
	stepGap  = 3.0
	stepPast = 9.0
	restPast = 30.0
)

// step is how far the disturbance has moved, against the seconds before; ok is false where too little was read.
func (w *Watcher) step(t float64) (d float64, ok bool) {
	s := &w.own.lambda
	w.past.slide(w, t, stepPast, stepGap)
	if len(w.past.values) < 4 || s.At(0).T() > t-stepPast {
		return 0, false
	}
	sum, n := 0.0, 0.0
	for i := s.Len() - 1; i >= 0; i-- {
		r := s.At(i)
		if age := t - r.T(); age > stepLast && (n >= 2 || age >= 2.5) {
			break
		}
		sum, n = sum+w.disturbance(r), n+1
	}
	if n < 2 {
		return 0, false
	}
	return sum/n - w.past.middle(), true
}

// noise is what the disturbance spreads by itself in the seconds that [Watcher.step] has compared with.
func (w *Watcher) noise() float64 { return max(w.past.spread(), 0.002) }

// plain reports whether a step is so many times what the mean of a second spreads by itself.
func (w *Watcher) plain(d, times float64) bool {
	d, n := math.Abs(d), w.noise()
	switch {
	case d >= times*n:
		return true
	case d < times*n/math.Sqrt(perSecond): // no mean can be so much quieter
		return false
	}
	return d >= times*max(w.past.spreadOfMeans(), 0.002)
}

// Least steps that are looked at, as fractions of fuel and in parts of what the disturbance spreads by itself: where a force was
// said, and where none was.
const (
	leastSaid   = 0.012
	leastUnsaid = 0.03
	plainSaid   = 3
	plainUnsaid = 5
	plainEnd    = 3
)

// stepForce looks for the flanks of a force and follows what comes of it.
func (w *Watcher) stepForce(p recent.Reading) {
	f := w.running()
	w.feedsForward()
	if f == nil {
		w.lookForOnset(p)
		return
	}
	w.follow(f, p)
	if !f.ended() {
		w.lookForEnd(f, p)
		return
	}
	w.lookForReturn(f, p)
}

func (w *Watcher) lookForOnset(p recent.Reading) {
	n := len(w.forces)
	if n > 0 && p.T()-w.forces[n-1].endHi < stepGap+3 && (w.forces[n-1].marked || w.near(p.T()) == nil) {
		return
	}
	if len(w.told) > 0 && w.near(p.T()) == nil { // who says what they do says it of each force
		return
	}
	d, ok := w.step(p.T())
	if !ok || math.Abs(d) < leastSaid || !w.plain(d, plainSaid) {
		return
	}
	side := analysis.Rich
	if d < 0 {
		side = analysis.Lean
	}
	m := w.near(p.T())
	if m != nil && m.side != side || m == nil && w.asked.side != side && (math.Abs(d) < leastUnsaid || !w.plain(d, plainUnsaid)) {
		return
	}
	w.dropUnsaid()
	if n = len(w.forces); n >= maxForces {
		return
	}
	f := force{side: side, sign: 1, size: math.Abs(d), says: map[bool]float64{}, rearSays: map[bool]bool{}}
	if d < 0 {
		f.sign = -1
	}
	w.dateOnset(&f, p, d)
	if m != nil {
		m.used, f.marked = true, true
	}
	f.marked = f.marked || w.asked.side == side
	f.vented, f.cold, f.undoes = w.purged(p.T()), w.cold(), w.goes.undoes(&f)
	w.forces = append(w.forces, f)
	g := &w.forces[n]
	w.announce(g, p)
	for i := w.own.lambda.From(f.lo); i < w.own.lambda.Len(); i++ {
		w.follow(g, w.own.lambda.At(i))
	}
}

// dateOnset finds when the step began: the first of the readings that have gone a third of the way and stay there.
func (w *Watcher) dateOnset(f *force, p recent.Reading, d float64) {
	w.restOf(f, p.T()-stepGap)
	s := &w.own.lambda
	base := w.disturbanceBase(p.T())
	at := s.Len() - 1
	for at > 0 && f.sign*(w.disturbance(s.At(at-1))-base) > math.Abs(d)/3 && p.T()-s.At(at-1).T() < stepGap+2 {
		at--
	}
	f.hi = s.At(at).Hi
	f.lo = f.hi
	if at > 0 {
		f.lo = s.At(at - 1).Lo
	}
	f.begin = (f.lo + f.hi) / 2
}

// restOf takes down what was there until t.
func (w *Watcher) restOf(f *force, t float64) {
	s := &w.own.lambda
	var past, fuel, trims []float64
	for i := s.From(w.restsSince(t + stepGap)); i < s.Len(); i++ {
		if r := s.At(i); r.T() <= t {
			past = append(past, w.excess(r))
			fuel = append(fuel, w.fuel(&w.own, r.T()))
			trims = append(trims, w.trimmed(&w.own, r.T())-1)
		}
	}
	f.rest, f.noise = spread(past)
	f.noise = max(f.noise, 0.001)
	f.u0 = median(fuel)
	f.trims, f.tn = spread(trims)
}

// restsSince is from when what was read before t is at rest: not while an earlier force went on and the loop came back.
func (w *Watcher) restsSince(t float64) float64 {
	from := t - restPast
	if n := len(w.forces); n > 0 {
		f := &w.forces[n-1]
		back := f.end + recoverWithin
		if f.recovered > 0 {
			back = f.recovered
		}
		from = max(from, min(back, t-stepPast))
	}
	return from
}

func (w *Watcher) disturbanceBase(t float64) float64 {
	s := &w.own.lambda
	var past []float64
	for i := s.From(t - stepPast); i < s.Len() && s.At(i).T() <= t-stepGap; i++ {
		past = append(past, w.disturbance(s.At(i)))
	}
	return median(past)
}

// announce tells that a force began: at once where it was said, else when it has lasted.
func (w *Watcher) announce(f *force, p recent.Reading) {
	if !f.begun && (f.marked || p.T()-f.begin >= 2.5) {
		f.begun = true
		f.seen = f.seen || f.marked
		w.tell(f, analysis.Event{T: f.begin, Name: analysis.ForceBegins, Side: f.side})
	}
}

// purged reports whether the computer has just opened or shut its purge valve: that moves the mixture too.
func (w *Watcher) purged(t float64) bool {
	v := w.purge.Values(nil, t-12, t)
	return len(v) > 1 && slices.Max(v)-slices.Min(v) >= 8
}

// enough is how far the sensor must leave its rest to have reported a side, a fraction.
func (f *force) enough() float64 { return max(0.02, 4*f.noise) }

// twoCounts of short-term trim is the least change that is more than its rounding, a fraction.
const (
	trimCount = 1.0 / 128
	twoCounts = 2 * trimCount
)

// follow takes a reading of the time of a force and after it.
func (w *Watcher) follow(f *force, p recent.Reading) {
	y := f.sign * (w.excess(p) - f.rest)
	t := p.T()
	rich := f.side == analysis.Rich
	say := func(rich bool, since float64) {
		if _, has := f.says[rich]; has || t < since {
			return
		}
		f.says[rich] = t
		toward := analysis.Lean
		if rich {
			toward = analysis.Rich
		}
		w.tell(f, analysis.Event{T: t, Name: analysis.SensorAnswers, Side: f.side, Toward: string(toward), After: max(0, t-since)})
	}
	if !f.ended() && w.plainly(f, f.begin, t, y) {
		say(rich, f.begin)
	}
	if f.ended() && w.plainly(f, f.end, t, -y) {
		say(!rich, f.end)
	}
	moved := f.sign * (f.u0 - w.fuel(&w.own, t)) // against the force
	// A target that swings is no answer, and hides none: trim itself must leave its own hunting.
	byTrim := f.sign * (f.trims - w.trimmed(&w.own, t) + 1)
	if !f.answered && !f.ended() && moved >= twoCounts && byTrim+trimCount/2 >= max(twoCounts, 4*f.tn) {
		f.answered, f.answerAt = true, t
		f.after = w.dateAnswer(f, p)
		w.tell(f, analysis.Event{T: t, Name: analysis.LoopAnswers, Side: f.side, Toward: toward(f.side), After: f.after[0],
			AfterMin: f.after[1], AfterMax: f.after[2], Rate: 100 * moved / max(0.3, t-f.begin)})
	}
	w.followSilence(f, t, y, moved)
}

// plainly reports whether y, the way that the ratio has left its rest since then, is more than noise: one reading alone, or those of
// a second and a half together, of which a slow valve or a loop that is quick makes many small ones.
func (w *Watcher) plainly(f *force, since, t, y float64) bool {
	if y >= f.enough() {
		return true
	}
	s := &w.own.lambda
	if t-since < meanOf || y <= 0 || s.Len()-s.From(t-meanOf) < 4 {
		return false
	}
	phi, _ := w.mean(t-meanOf, t)
	return abs(phi-f.rest) >= max(0.02, 0.6*f.enough()) && (phi > f.rest) == (w.excess(s.At(s.Len()-1)) > f.rest)
}

// meanOf is over how long readings are taken together, s.
const meanOf = 1.5

// answerConfidence is that of the interval in which trim began to answer.
const answerConfidence = 0.99

// dateAnswer is how long after a force's beginning trim began to move against it, best, least and most, s: the change point between
// the level of its rest and its way until p, by which it was plain.
func (w *Watcher) dateAnswer(f *force, p recent.Reading) [3]float64 {
	s := &w.own.trim
	var at, y []float64
	for i := s.From(max(f.lo-stepPast, w.restsSince(f.lo))); i < s.Len() && s.At(i).T() <= p.T(); i++ {
		r := s.At(i)
		at, y = append(at, r.T()), append(y, -f.sign*w.trimmed(&w.own, r.T()))
	}
	h, ok := stats.FitHinge(at, y, f.lo, p.Hi, answerConfidence, trimCount*trimCount/12)
	if !ok || h.Slope <= 0 {
		h = stats.Hinge{Onset: p.T(), Low: f.lo, High: p.Hi}
	}
	return [3]float64{max(0, h.Onset-f.begin), max(0, h.Low-f.hi), h.High - f.lo}
}

func toward(side analysis.Side) string {
	if side == analysis.Lean {
		return "add"
	}
	return "cut"
}
