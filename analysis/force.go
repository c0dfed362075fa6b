package analysis

import (
	"pushback/analysis/measure"
	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// force is one stretch during which the signal (or the mixture) was held, and all
// that followed from it.
type force struct {
	side   Side
	bank   int // the bank on whose signal the hold was seen
	marked bool
	loose  bool // it was seen to stay on the side, not at one level
	lies   bool // and has come to lie at one since: behind a filter the reading takes a while to it
	seen   bool // false: announced, and nothing seen of it yet
	madeWhen
	level  float64 // V, the held level; final at the end
	weight weight  // what spoke for a force when it was called one
	share  float64 // part of the readings during the hold that were at the level

	computerDid
	volts voltsBase // the forced sensor at rest
	trimAnswers
	down downstream
	// shared is the other bank's sensor behind the catalyst: where the watched bank has none, the pipes may join
	// before it (a Y). That it follows proves delivery; that it does not proves nothing.
	shared downstream
	mixtureHeld

	rel     release
	relOn   bool
	resumed bool
	emitted
}

// madeWhen is when a force was made, s: the bounds of its beginning and of its end, and the best guess.
type madeWhen struct {
	beginLo, beginHi, begin float64
	ended                   bool
	byMark                  bool // the end was told, not seen
	endLo, endHi, end       float64
	// after is the force before it where trim still stood as that had led it, as where a clip slips off and is put on again.
	after *force
}

// computerDid is what the computer made of a force beside its trim.
type computerDid struct {
	ready    bool // the conditions for the test held
	openedAt float64
	opened   bool    // it left closed loop meanwhile
	stalled  bool    // because the engine stopped
	dropped  float64 // s: trim fell back as if it were given up, which the next status of the fuel system settles; 0: it did not
	paused   bool    // trim had jumped to zero before it, and stood there
	purged   bool    // the computer opened or shut its purge valve meanwhile
	letGo    string  // how it let go of the sensor; "": it did not
	letGoAt  float64
	wasOpen  bool // at its beginning or some time later: trim may have moved for that
}

// trimAnswers are those of both banks.
type trimAnswers struct {
	own              answer  // of the watched bank
	other            answer  // of the other bank
	fedOwn, fedOther float64 // s: trims up to here were taken
}

// mixtureHeld follows a force by mixture.
type mixtureHeld struct {
	strong      int     // extreme readings during stays on the forced side that are no switching
	compensated bool    // the loop brought the mixture back while it was forced
	turns       int     // changes of side since trim has answered
	sideFor     float64 // s: how long the sensor has now been on the forced side
	turnSide    Side
}

// emitted is what was told already of a force.
type emitted struct {
	emittedOther, emittedSilent, emittedWrong, emittedAnswer, emittedLimit, emittedRelease bool
}

func (f *force) seconds() float64 {
	if f.ended {
		return f.end - f.begin
	}
	return f.own.nowAt - f.begin
}

// followed reports whether the reading moved with the mixture, or moves at all: one that lies
// where it lay tells nothing of what it is wired to.
func (f *force) followed() bool {
	b := f.volts
	if !b.known() || b.switching() {
		return true
	}
	if f.level != 0 && (f.side == Lean && b.high-f.level >= alive || f.side == Rich && f.level-b.low >= alive) {
		return true
	}
	return f.rel.n > 0 && (f.rel.top-b.low >= alive || b.high-f.rel.bottom >= alive)
}

// alive is by how much a reading must have moved for the sensor to be what moved it, V: more than
// the noise of a dead line.
const alive = 0.1

// pastBalance is how far mirrored trim u is past where the mixture is balanced, %:
// where trim hunted at rest if the sensor cycled, else zero for want of better.
func (f *force) pastBalance(u float64) float64 {
	balance := 0.0
	if f.volts.switching() && f.own.base.known() {
		balance = f.own.up * f.own.base.median
	}
	if f.after != nil {
		return u - balance
	}
	return u - max(f.own.start, balance)
}

// commanded reports whether trim answered this force, or the one that it goes on with.
func (f *force) commanded() bool {
	return f.own.state == answered || f.after != nil && f.after.side == f.side && f.after.commanded()
}

// firm reports whether the contact was steady enough, and the level plainly on its side, to say what trim did not do: in the middle a weak
// source holds against the sensor, and where the computer's own switch point lies is not known.
func (f *force) firm() bool {
	return f.share >= 0.985 && (f.level <= middleLow || f.level >= middleHigh)
}

// downstream follows the sensor behind the catalyst: proof that the mixture really
// moved, once the catalyst's stored oxygen has gone or come.
type downstream struct {
	seen     bool
	side     Side // that it must go to
	n        int
	baseLow  float64 // 5 and 95 % quantiles at rest
	baseHigh float64
	stay     float64 // s: the longest time on that side at rest
	hasBase  bool
	blind    bool // it sat on that side already
	store
	on, total  int // readings on the side since the first, and all
	since      float64
	answered   bool
	answeredAt float64
	oxygen     float64 // g of oxygen that trim has brought or taken
	passed     float64 // g, when it began to stay on its side
	away       float64 // s
	most       float64 // %
	lastAt     float64
}

// A catalyst hides a change of mixture until its stored oxygen has gone or come: what counts is grams of
// oxygen, ∫ 0.2315 · airflow · Δφ dt, and no catalyst of a car in use stores 3 g; a maker allows 20 s at +25 % at
// idle (found in a maker's workshop text).
const (
	enoughTrim   = 15.0 // %
	enoughTime   = 15.0 // s, of a standing contradiction
	enoughOxygen = 3.0  // g
	enoughAway   = 20.0 // s
)

// begin starts to follow the sensor of readings s for a force that began at lo.
func (d *downstream) begin(side Side, s *recent.Series, lo float64, scratch []float64) {
	*d = downstream{side: side}
	values := s.Values(scratch[:0], lo-30, lo)
	if len(values) >= 3 {
		d.seen, d.hasBase = true, true
		d.baseLow = quantile(values, 0.05)
		d.baseHigh = stats.SortedQuantile(values, 0.95)
	}
	if side == Rich {
		d.blind = d.hasBase && d.baseLow > 0.60
	} else {
		d.blind = d.hasBase && d.baseHigh < 0.30
	}
	since := -1.0
	for i := s.From(lo - 30); i < s.Len() && s.At(i).T() <= lo; i++ {
		p := s.At(i)
		d.store.rested(d.reaches(p.V))
		if !d.reaches(p.V) {
			since = -1
			continue
		}
		if since < 0 {
			since = p.T()
		}
		d.stay = max(d.stay, p.T()-since)
	}
}

// reaches reports whether a reading lies on the side, beyond what was usual at rest: in
// a balanced mixture that sensor rests between 0.5 and 0.7 V.
func (d *downstream) reaches(v float64) bool {
	return d.leans(v) && (d.side == Lean || v >= 0.72)
}

// leans reports whether it has moved towards the side at least.
func (d *downstream) leans(v float64) bool {
	if d.side == Rich {
		return v >= 0.60 && (!d.hasBase || v >= min(d.baseHigh+0.05, 0.80))
	}
	return v <= 0.30 && (!d.hasBase || v <= max(d.baseLow-0.05, 0.15))
}

// addVolts takes a downstream reading while trim is moved% away from where it was.
func (d *downstream) addVolts(p recent.Reading, moved float64) {
	d.seen = true
	d.n++
	if d.answered || moved < 4 {
		return
	}
	if d.blind {
		return
	}
	d.store.addVolts(p.T(), d.oxygen, d.reaches(p.V), d.leans(p.V))
	switch {
	case d.reaches(p.V):
		if d.on == 0 {
			d.since, d.total, d.passed = p.T(), 0, d.oxygen
		}
		d.on++
		d.total++
	case d.on > 0:
		d.total++
		if float64(d.on) < 0.6*float64(d.total) {
			d.on = 0
		}
	}
	// It must stay there for longer than at rest: a worn catalyst lets it swing with every
	// breath of the loop.
	need := max(5, 3*d.stay)
	// On a slow bus two readings must do, if they are far from where it rested.
	enough := d.on >= 3 || d.on >= 2 && d.hasBase && (p.V > d.baseHigh+0.25 || p.V < d.baseLow-0.25)
	if enough && float64(d.on) >= 0.85*float64(d.total) && p.T()-d.since >= need {
		d.answered, d.answeredAt = true, d.since
	}
}

// addTrim adds up what trim has done since the force began; flow is the engine's air, g/s.
func (d *downstream) addTrim(t, moved, flow float64) {
	if d.lastAt > 0 && moved >= 4 && t-d.lastAt < 3 {
		d.oxygen += measure.Oxygen(flow, moved/100, t-d.lastAt)
		d.away += t - d.lastAt
	}
	d.most = max(d.most, moved)
	d.lastAt = t
}

// enough reports whether any catalyst's store must have gone or come.
func (d *downstream) enough() bool {
	return d.oxygen >= enoughOxygen && d.away >= enoughAway && d.most >= 10
}

// mute reports that the downstream sensor would have shown by now.
func (d *downstream) mute() bool {
	return d.seen && d.n >= 3 && !d.answered && !d.blind && d.enough() && d.undelivered() > muteOdds
}
