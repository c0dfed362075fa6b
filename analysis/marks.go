package analysis

import (
	"math"
	"slices"
	"time"

	"pushback/analysis/reason"
)

// expectation is what the technician has announced and what is not seen yet.
type expectation struct {
	releaseAt float64 // s: a release was announced; 0 if not
}

// markOutcome is what became of the marks of one side that no hold followed.
type markOutcome struct {
	no         bool // the reading went on as before: it does not follow the wire
	vague      bool
	obeys      bool // it follows the wire, though it was not held as was said: another range was read, or it was held for a moment
	pulled     bool // it came to lie where it was said to be held
	why        reason.Reason
	level      float64
	n          int
	secs       float64
	other      bool // the other bank's reading followed
	otherLevel float64
	beside     int     // readings of the other bank meanwhile
	from       float64 // s
}

// onNeither reports whether a hold that was said showed on neither bank, or on this one if anywhere, though both were read. The latter is as
// well what this sensor said by itself where trim stands far out, as it does where plugs are exchanged.
func (fo *markOutcome) onNeither(w *Watcher, far bool) bool {
	return (fo.no || fo.pulled && !far) && !fo.other && fo.beside >= 3 && !w.heldPerhaps(w.other, fo.from, fo.from+fo.secs)
}

func sideIndex(s Side) int {
	if s == Rich {
		return 1
	}
	return 0
}

// Mark takes the word of the technician that they begin to force a side.
//
// Special cases are: by mixture the word itself begins the force, and ends one of the other side; what was seen to be held already
// is marked; beyond maxForces it is counted as not judged.
func (w *Watcher) Mark(at time.Duration, side Side) []Event {
	w.events = w.events[:0]
	t := at.Seconds()
	w.now = max(w.now, t)
	w.hint(t, side)
	w.marks++
	f := w.holding()
	if f == nil && len(w.forces) >= maxForces {
		w.unjudged++ // nor may it count as a force that nothing followed
		return w.events
	}
	h := &w.hints[len(w.hints)-1]
	if w.cfg.By == ByMixture {
		h.used = true
		if f != nil && f.side == side {
			f.marked = true
			return w.events
		}
		if f != nil {
			w.endForce(f, t, t, true)
		}
		// The loop may compensate at once, so that the reading hardly shows it: the word
		// begins the force, and trim is watched from there on.
		w.beginForce(held{side: side, lo: max(0, t-2), hi: t + 2, loose: true, told: true}, &w.volts, true)
		return w.events
	}
	if f != nil && f.side == side && !f.marked { // seen before it was said
		f.marked, h.used = true, true
	}
	return w.events
}

// Release takes the word of the technician that they let go.
func (w *Watcher) Release(at time.Duration) []Event {
	w.events = w.events[:0]
	t := at.Seconds()
	w.now = max(w.now, t)
	if n := len(w.hints); n > 0 && w.hints[n-1].release == 0 {
		w.hints[n-1].release = t
	}
	if f := w.holding(); f != nil && w.cfg.By == ByMixture {
		w.endForce(f, t, t, true)
	} else if f != nil {
		w.expect.releaseAt = t
	}
	return w.events
}

// hint is what the technician said of one force: when they took the wire and when they let go, s; 0 if
// they did not say. It is a hint: late or early, of the wrong side or not true.
type hint struct {
	side        Side
	at, release float64
	asked       Side    // that a guide asked for then; "": for none
	used        bool    // a force was seen that fits it
	judged      bool    // none was, and what that means was judged
	most        float64 // the most that the readings of any stretch near it spoke for a force
}

// hint notes a mark.
func (w *Watcher) hint(t float64, side Side) {
	if len(w.hints) < maxForces {
		h := hint{side: side, at: t}
		if n := len(w.asked); n > 0 {
			h.asked = w.asked[n-1].side
		}
		w.hints = append(w.hints, h)
	}
}

// announced reports whether the technician said that they forced this side.
func (w *Watcher) announced(side Side) bool {
	return slices.ContainsFunc(w.hints, func(s hint) bool { return s.side == side })
}

// settleHints judges what was said and not seen, when its time is over; with last, no more data come.
func (w *Watcher) settleHints(last bool) {
	for i := range w.hints {
		h := &w.hints[i]
		if h.used || h.judged {
			continue
		}
		until := w.now
		if i+1 < len(w.hints) {
			until = w.hints[i+1].at
		}
		if h.release > 0 {
			until = min(until, h.release)
		}
		if i := slices.IndexFunc(w.asked, func(a ask) bool { return a.at > h.at }); i >= 0 && w.asked[i].side == "" {
			until = min(until, w.asked[i].at) // who let go then did not say so
		}
		if !last && w.now < until+awaited+SayNear {
			continue
		}
		h.judged = true
		near := func(f *force) bool {
			return f.side == h.side && f.begin < until+SayNear && (!f.ended || f.end > h.at-sayFar)
		}
		if !slices.ContainsFunc(w.forces, near) && w.cfg.By != ByMixture {
			w.judgeFollow(h, until)
		}
	}
}

// untouched is until when the wire was let alone before what was said, as far as is known, s: what was said just before it and was not seen
// either may have been held as well.
func (w *Watcher) untouched(h *hint) float64 {
	at := h.at
	for i := len(w.hints) - 1; i >= 0; i-- {
		switch x := &w.hints[i]; {
		case x.at > at:
		case x != h && x.used:
			return at
		default:
			at = x.at
		}
	}
	return at
}

// judgeFollow decides what a mark without a hold has shown, when its time is over:
// did the reading go on as if nothing had been done to the wire?
func (w *Watcher) judgeFollow(h *hint, until float64) {
	side, from := h.side, h.at+1.5
	if h.release > 0 && until-from > 3 {
		until-- // who lets go says so a little later
	}
	fo := &w.follow[sideIndex(side)]
	var n int
	on := 0
	var sum float64
	lo, hi, _ := w.volts.volts.Span(from, until)
	for i := w.volts.volts.From(from); i < w.volts.volts.Len(); i++ {
		p := w.volts.volts.At(i)
		if p.T() > until {
			break
		}
		n++
		sum += p.V
		if onSide(side, p.V) {
			on++
		}
	}
	fo.n, fo.secs, fo.from = n, until-h.at, h.at
	if n < 4 || until-from < 1.5 || w.volts.interval > 1 && w.volts.volts.From(until)-w.volts.volts.From(h.at+SayNear) < 4 || w.volts.unread(h.at-SayNear, until) >= handsHold {
		fo.vague, fo.why = true, reason.ForceTooShort.Of()
		return
	}
	fo.level = sum / float64(n)
	alone := w.untouched(h)
	b, _ := w.baseBefore(&w.volts, alone)
	share := float64(on) / float64(n)
	flat := hi-lo <= 0.03
	before := b.known() && b.high-b.low <= 0.1 && fo.level >= b.low-0.01 && fo.level <= b.high+0.01
	switch {
	case before && onSide(side, fo.level):
		fo.vague, fo.why = true, reason.LayThereBefore.Of()
	case flat && share < 0.5 && (!b.known() || !b.switching() && fo.level >= b.low-0.03 && fo.level <= b.high+0.03):
		fo.no = true // it lies still, and not where it was forced to
	case offByChance(n-on, n) < offSeldom && b.known() && b.switching() && !w.shifted(b, lo, hi):
		fo.no = true // it goes on switching as before
	case share < 0.75 && !b.known():
		fo.no = share < 0.3
		fo.vague, fo.why = !fo.no, reason.LittleToCompare.Of()
	default: // of one that switched: nearly all on the side, or in another range
		fo.vague, fo.obeys, fo.why = true, b.known() && b.switching(), reason.PulledNotHeld.Of()
		fo.pulled = onSide(side, fo.level)
	}
	if fo.no && h.most >= tenToOne {
		fo.no, fo.vague, fo.why, fo.obeys = false, true, reason.HeldForAMoment.Of(), h.most >= oneInHundred
	}
	if fo.no && h.asked == side.Opposite() {
		fo.no, fo.vague, fo.why = false, true, reason.TapsDiffer.Of() // who is asked for one side and says the other may have done either, or neither yet
	}
	if fo.no && h.release == 0 && len(w.asked) == 0 { // for how long they held it nobody knows: it may have been a touch
		fo.no, fo.vague, fo.why = false, true, reason.HeldForAMoment.Of()
	}
	if fo.no {
		w.judgeOtherBank(h, fo, from, until)
	}
	_, _, fo.beside = w.otherVolts.volts.Span(from, until)
}

// offByChance is the probability that so many of n readings of a held wire and more lie off its side, by the binomial law: contacts bounce, and what is
// said is said late, for one in ten (common practice, no source).
func offByChance(off, n int) float64 {
	const one = 0.1
	p, tail := math.Pow(1-one, float64(n)), 0.0 // of none
	for k := 0; k <= n; k++ {
		if k >= off {
			tail += p
		}
		p *= float64(n-k) / float64(k+1) * one / (1 - one)
	}
	return tail
}

// offSeldom is how seldom that must be, where a reading is said not to follow the wire.
const offSeldom = 0.01

// unread is the longest time without a reading between two times, s.
func (k *track) unread(from, to float64) float64 {
	longest, at := 0.0, from
	for i := k.volts.From(from); i < k.volts.Len() && k.volts.At(i).T() <= to; i++ {
		longest, at = max(longest, k.volts.At(i).T()-at), k.volts.At(i).T()
	}
	return max(longest, to-at)
}

// byChance is how unlikely the other bank's readings must be by themselves.
const byChance = 0.001

// judgeOtherBank asks, where the watched reading did not follow, whether the other
// bank's did. On a slow bus that is read seldom.
// tenToOne is what speaks for something, as a logarithm.
const tenToOne = 2.3

func (w *Watcher) judgeOtherBank(h *hint, fo *markOutcome, from, until float64) {
	s := &w.otherVolts.volts
	if s.Len() == 0 || w.both != nil {
		return
	}
	lo, hi, n := s.Span(from, until)
	if n < 3 {
		fo.no, fo.vague, fo.why = false, true, reason.OtherBankSeldom.Of()
		return
	}
	on := 0
	for i := s.From(from); i < s.Len() && s.At(i).T() <= until; i++ {
		if onSide(h.side, s.At(i).V) {
			on++
		}
	}
	if float64(on) < 0.7*float64(n) {
		return // it was not on the forced side either
	}
	rest := s.Values(w.scratchA[:0], h.at-baselineFor, h.at-SayNear)
	mid := (lo + hi) / 2
	near := 0
	for _, v := range rest {
		if abs(v-mid) <= 0.03 {
			near++
		}
	}
	strange := len(rest) >= 3 && newLevel(mid, slices.Min(rest), slices.Max(rest))
	// So many readings about that level, were each there as often as at rest.
	often := (float64(near) + 1) / (float64(len(rest)) + 2)
	if hi-lo <= 0.03 && (strange || math.Pow(often, float64(n)) <= byChance) {
		fo.other, fo.otherLevel = true, mid
		return
	}
	fo.no, fo.vague, fo.why = false, true, reason.OtherBankOnSide.Of()
}

// shifted reports whether the range of the readings is another one than at rest.
func (w *Watcher) shifted(b voltsBase, lo, hi float64) bool {
	return hi < b.high-0.15 || lo > b.low+0.15
}
