package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pushback/analysis/recent"
	"pushback/analysis/scripttest"
	"pushback/decode"
)

// The codes of the first reading were there before; each that comes later is told once, as pending or not.
func TestCodeWatch(t *testing.T) {
	for _, c := range []struct {
		name, script string // at a time: service, then codes
		want, here   string
	}{
		{"there before", "1s 03 P0171; 60s 03 P0171", "", ""},
		{"comes", "1s 03; 60s 03 P0131", "60 P0131 false", "P0131"},
		{"comes as pending, then stored", "1s 07; 1s 03; 60s 07 P0131; 90s 03 P0131", "60 P0131 true, 90 P0131 false", "P0131"},
		{"told once", "1s 07; 60s 07 P0131; 70s 07 P0131", "60 P0131 true", "P0131"},
		{"goes and comes again", "1s 03; 60s 03 P0131; 70s 03; 80s 03 P0131", "60 P0131 false", "P0131"},
		{"each service has its first reading", "1s 03; 60s 07 P0131", "", ""},
		{"permanent", "1s 0A; 60s 0A P0420 P0131", "60 P0420 false, 60 P0131 false", "P0420 P0131"},
	} {
		w := NewWatcher(Config{})
		var got []string
		for _, s := range scripttest.Steps(t, c.script) {
			words := strings.Fields(s.Words)
			service := map[string]byte{"03": 3, "07": 7, "0A": 0x0A}[words[0]]
			for _, e := range w.Codes(s.At, service, words[1:]) {
				if e.Name != CodeSet {
					t.Errorf("%s: %s", c.name, e.Name)
				}
				got = append(got, fmt.Sprint(e.T, " ", e.Code, " ", e.Pending))
			}
		}
		if text := strings.Join(got, ", "); text != c.want || strings.Join(w.codes.SetHere, " ") != c.here {
			t.Errorf("%s: %q, set here %q; want %q", c.name, text, w.codes.SetHere, c.want)
		}
	}
}

// The sensor behind the catalyst proves the mixture once it leaves where it rested and stays: for 5 s, or longer than three of
// its stays at rest. Readings at rest are 30 s, and the force begins then; trim is 15 % away throughout.
func TestDownstreamCases(t *testing.T) {
	for _, c := range []struct {
		name, rest, held string
		answered, blind  bool
		at               float64
	}{
		{"goes and stays", "0s..30s/1s 0.3", "1s..7s/1s 0.3; 8s..20s/1s 0.85", true, false, 8},
		{"for too short a time", "0s..30s/1s 0.3", "1s..7s/1s 0.3; 8s..12s/1s 0.85; 13s..20s/1s 0.3", false, false, 0},
		{"comes back in between", "0s..30s/1s 0.3", "1s 0.85; 2s 0.85; 3s..6s/1s 0.3; 7s..20s/1s 0.85", true, false, 7},
		{"swings as at rest: a worn catalyst", "0s..8s/1s 0.2; 9s..17s/1s 0.9; 18s..25s/1s 0.2; 26s..29s/1s 0.9; 30s 0.2", "1s..2s/1s 0.2; 3s..12s/1s 0.9; 13s..20s/1s 0.2", false, false, 0},
		{"where a balanced mixture rests is no rich", "0s..30s/1s 0.3", "1s..20s/1s 0.68", false, false, 0},
		{"it lay there before", "0s..30s/1s 0.85", "1s..20s/1s 0.9", false, true, 0},
		{"a slow bus: two readings far out", "0s..30s/5s 0.3", "5s 0.85; 12s 0.86", true, false, 5},
		{"a slow bus: two readings not far out", "0s..30s/5s 0.6", "5s 0.75; 12s 0.75", false, false, 0},
		{"nothing at rest to compare with", "0s 0.3", "1s..20s/1s 0.85", true, false, 1},
	} {
		for _, side := range []Side{Rich, Lean} {
			f := same
			if side == Lean {
				f = func(v float64) float64 { return 1 - v }
				if strings.Contains(c.name, "balanced") {
					continue // lean has no such rest
				}
			}
			s := recent.New(64)
			for _, p := range scripted(t, c.rest, 70, f) {
				s.Add(p)
			}
			var d downstream
			d.begin(side, &s, 100, nil)
			for _, p := range scripted(t, c.held, 100, f) {
				d.addTrim(p.T(), 15, 2)
				d.addVolts(p, 15)
			}
			if d.answered != c.answered || d.blind != c.blind || c.answered && d.answeredAt != 100+c.at {
				t.Errorf("%s, %s: answered %v at %v s, blind %v", c.name, side, d.answered, d.answeredAt, d.blind)
			}
		}
	}
	var d downstream
	s := recent.New(4)
	d.begin(Rich, &s, 0, nil)
	for _, p := range scripted(t, "1s..20s/1s 0.85", 0, same) {
		d.addVolts(p, 3.9)
	}
	if d.answered {
		t.Error("it follows a trim that has hardly moved")
	}
}

// Not delivered is said where the sensor behind the catalyst goes on as at rest after any catalyst's store has gone or come,
// though it may wander at rest; one that is then on the side of the mixture, mostly, tells that it was delivered. 4 g/s at 25 %
// is 0.23 g a second, so that the largest store has passed after 9 s and 20 s are needed.
func TestRearGoesOn(t *testing.T) {
	const still, wanders = "0s..29s/1s 0.55", "0s..7s/1s 0.6; 8s..11s/1s 0.1; 12s..19s/1s 0.5; 20s 0.1; 21s..29s/1s 0.8"
	for _, c := range []struct {
		name, rest, held string
		mute             bool
	}{
		{"stands still", still, "1s..24s/1s 0.56", true},
		{"stands still, for too short a time", still, "1s..18s/1s 0.56", false},
		{"wanders as at rest", wanders, "1s..6s/1s 0.6; 7s 0.1; 8s..24s/1s 0.7", true},
		{"one reading strays", still, "1s..20s/1s 0.56; 21s 0.05; 22s..24s/1s 0.6", true},
		{"goes with the mixture, and strays now and then", still, "1s..4s/1s 0.55; 5s..9s/1s 0.05; 10s 0.6; 11s..14s/1s 0.05; 15s 0.6; 16s..22s/2s 0.05; 23s 0.6", false},
		{"goes at the very last", still, "1s..8s/1s 0.55; 9s..24s/1s 0.28", false},
		{"hardly read", still, "10s 0.5; 22s 0.5", false},
	} {
		s := recent.New(64)
		for _, p := range scripted(t, c.rest, 70, same) {
			s.Add(p)
		}
		var d downstream
		d.begin(Lean, &s, 100, nil)
		readings := scripted(t, c.held, 100, same)
		for at := 100.0; at <= readings[len(readings)-1].T(); at++ {
			d.addTrim(at, 25, 4)
			for _, p := range readings {
				if p.T() == at {
					d.addVolts(p, 25)
				}
			}
		}
		if d.mute() != c.mute {
			t.Errorf("%s: mute %v; %.1f g in %.0f s, log odds %.1f", c.name, d.mute(), d.oxygen, d.away, d.undelivered())
		}
	}
}

// Grams of oxygen by hand: 0.2315 · flow · share · time, the mass fraction of oxygen in dry air (U.S. Standard Atmosphere 1976: 20.9476 % of
// 28.9644 g/mol by volume). 10 g/s at 15 % for 10 s is 3.47 g; a maker allows 20 s at a quarter more at idle (2 g/s): 2.3 g.
func TestDownstreamOxygen(t *testing.T) {
	for _, c := range []struct {
		flow, moved, seconds, grams float64
		enough                      bool
	}{
		{10, 15, 10, 3.47, false}, // not for 20 s
		{10, 15, 20, 6.95, true},
		{2, 25, 20, 2.32, false},
		{3, 25, 20, 3.47, true},
		{10, 3.9, 60, 0, false}, // no more than hunting
		{10, 9, 60, 12.5, false},
	} {
		var d downstream
		for at := 1.0; at <= 1+c.seconds; at++ {
			d.addTrim(at, c.moved, c.flow)
		}
		if math.Abs(d.oxygen-c.grams) > 0.01*c.grams+1e-9 || d.enough() != c.enough {
			t.Errorf("%g g/s at %g %% for %g s: %.3f g, enough %v; want %.2f", c.flow, c.moved, c.seconds, d.oxygen, d.enough(), c.grams)
		}
	}
	var gap downstream
	gap.addTrim(1, 15, 10)
	gap.addTrim(60, 15, 10)
	if gap.oxygen != 0 {
		t.Errorf("a minute without readings brought %g g", gap.oxygen)
	}
}

// Air that is not metered is estimated low. A mass flow from pressure by the gas law: at 40 kPa, 800 rpm, 1 l, 80 % and 40 °C
// it is 40000·0.001·0.8·(800/120)/(287·313) kg/s = 2.375 g/s by hand.
func TestAirFlow(t *testing.T) {
	for _, c := range []struct {
		a         air
		rpm, want float64
	}{
		{air{}, 800, 1.5},
		{air{maf: 3.2}, 800, 3.2},
		{air{maf: 3.2, manifold: 40}, 800, 3.2},
		{air{manifold: 40}, 800, 2.375},
		{air{manifold: 40}, 1600, 4.75},
		{air{manifold: 40}, 0, 1.5},
	} {
		if got := c.a.flow(c.rpm); math.Abs(got-c.want) > 0.001 {
			t.Errorf("%+v at %g rpm: %.4f g/s, want %.4f", c.a, c.rpm, got, c.want)
		}
	}
}

// A standing contradiction: trim far out, the sensor never on the side that trim should make, the rear one on it.
func TestRestContradictionCases(t *testing.T) {
	for _, c := range []struct {
		name               string
		volts, trim, down  string
		other              float64
		contradicts, never bool
	}{
		{name: "the sensor lies", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.85", contradicts: true},
		{name: "for 14 s", volts: "0s..14s/1s 0.1", trim: "0s..14s/1s 20", down: "0s..14s/1s 0.85"},
		{name: "both say lean: it does not follow", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.1"},
		{name: "both say rich: it follows, and more than enough", volts: "0s..40s/1s 0.85", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.85"},
		{name: "the sensor says rich now and then", volts: "0s..10s/1s 0.1; 11s 0.8; 12s..22s/1s 0.1; 23s 0.8; 24s..36s/1s 0.1", trim: "0s..36s/1s 20", down: "0s..36s/1s 0.85"},
		{name: "the rear one rests between", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.6"},
		{name: "trim is not far out", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 14", down: "0s..40s/1s 0.85"},
		{name: "the other bank is far out the other way: crossed", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.85", other: -20},
		{name: "no rear sensor", volts: "0s..40s/1s 0.1", trim: "0s..40s/1s 20"},
		{name: "it hangs at the bias, and says neither", volts: "0s..40s/1s 0.45", trim: "0s..40s/1s 20", down: "0s..40s/1s 0.85", contradicts: true},
	} {
		for _, side := range []Side{Rich, Lean} {
			sign, turn := 1.0, same
			if side == Lean {
				sign, turn = -1, func(v float64) float64 { return 0.95 - v }
			}
			var r restContradiction
			type reading struct {
				at   float64
				give func()
			}
			var all []reading
			for _, p := range scripted(t, c.volts, 0, turn) {
				all = append(all, reading{p.T(), func() { r.addVolts(p) }})
			}
			for _, p := range scripted(t, c.trim, 0, same) {
				all = append(all, reading{p.T(), func() { r.addTrim(p.T(), sign*p.V, sign*c.other) }})
			}
			if c.down != "" {
				for _, p := range scripted(t, c.down, 0, turn) {
					all = append(all, reading{p.T(), func() { r.addDown(p) }})
				}
			}
			slices.SortStableFunc(all, func(a, b reading) int { return int(1000 * (a.at - b.at)) })
			for _, x := range all {
				x.give()
			}
			if r.contradicts(side) != c.contradicts || r.contradicts(side.Opposite()) {
				t.Errorf("%s, %s: %v for %v s", c.name, side, r.contradicts(side), r.mute)
			}
		}
	}
}

// What a wire was held for is none of the contradiction's time, whether it was known then or later.
func TestRestContradictionTakesOutWhatWasHeld(t *testing.T) {
	run := func(heldFrom, heldTo float64) (r restContradiction) {
		for at := 0.0; at <= 20; at++ {
			if at >= heldFrom && at < heldTo {
				r.forced(at)
			} else {
				r.addVolts(recent.Reading{Lo: at, Hi: at, V: 0.1})
			}
			r.addTrim(at, 20, 0)
			r.addDown(recent.Reading{Lo: at, Hi: at, V: 0.85})
		}
		return r
	}
	free, held := run(99, 99), run(4, 14)
	if !free.contradicts(Rich) || held.contradicts(Rich) || held.mute[sideIndex(Rich)] != 10 {
		t.Errorf("%v s free, %v s with 10 of them held", free.mute, held.mute)
	}
	free.wasForced(2, 20)
	for at := 21.0; at <= 30; at++ { // let go: the time in which it was held, as is known now, does not come back
		free.addVolts(recent.Reading{Lo: at, Hi: at, V: 0.1})
		free.addTrim(at, 20, 0)
		free.addDown(recent.Reading{Lo: at, Hi: at, V: 0.85})
	}
	if free.contradicts(Rich) || free.mute[sideIndex(Rich)] != 12 {
		t.Errorf("%v s, though only two and ten were free", free.mute)
	}
}

// A trim beside the voltage is believed once it agrees with the bank's own in four pairs, by their median; where the bank's own
// is never read, after ten.
func TestTrimBesideIsBelieved(t *testing.T) {
	for _, c := range []struct {
		name     string
		pairs    []float64 // how far the one beside lies from the bank's own, pair by pair; NaN: the bank's own is not read
		accepted int       // of those beside
	}{
		{"agree", []float64{0, 0, 0, 0, 0}, 2},
		{"a count or two", []float64{0.8, -1.5, 0.8, -0.8, 0.8}, 2},
		{"seven per cent apart", []float64{7, 7, 7, 7, 7, 7, 7}, 0},
		{"one is out", []float64{0, 9, 0, 0, 0}, 2},
		{"they part", []float64{0, 0, 0, 0, 7, 7, 7, 7, 7}, 4}, // the first of them is as near as the one before it
		{"alone", slices.Repeat([]float64{math.NaN()}, 13), 3},
	} {
		s := newTrimStream()
		accepted := 0
		for i, d := range c.pairs {
			at := float64(i) * 0.5
			if !math.IsNaN(d) {
				s.bank(recent.Reading{Lo: at, Hi: at, V: 3})
			} else {
				d = 0
			}
			if s.beside(recent.Reading{Lo: at + 0.1, Hi: at + 0.1, V: 3 + d}) {
				accepted++
			}
		}
		if accepted != c.accepted {
			t.Errorf("%s: %d accepted, want %d", c.name, accepted, c.accepted)
		}
	}
	s := newTrimStream()
	for i := range 20 { // never within a second of each other: nothing to compare
		s.bank(recent.Reading{Lo: float64(4 * i), Hi: float64(4 * i), V: 3})
		if s.beside(recent.Reading{Lo: float64(4*i) + 2, Hi: float64(4*i) + 2, V: 3}) {
			t.Fatal("believed without a comparison")
		}
	}
}

// Long-term trim between two readings goes from one to the other; before the first and after the last it is that. Total trim on the
// short-term scale counts what was learned since a moment.
func TestLongTrimBetweenReadings(t *testing.T) {
	s := newTrimStream()
	if got := s.longAt(5); got != 0 {
		t.Errorf("never read: %g", got)
	}
	for _, p := range scripted(t, "10s 2; 20s 4; 40s 0", 0, same) {
		s.long.Add(p)
	}
	for _, c := range []struct{ at, want float64 }{{0, 2}, {10, 2}, {15, 3}, {20, 4}, {30, 2}, {40, 0}, {99, 0}} {
		if got := s.longAt(c.at); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("at %g s: %g, want %g", c.at, got, c.want)
		}
		// 1.05·(1 + long) is what the fuel is multiplied with; as short-term trim beside the 3 % of 15 s it is the 1.03rd part of that.
		if got := s.total(recent.Reading{Lo: c.at, Hi: c.at, V: 5}, 15); math.Abs(got-(1.05*(100+c.want)/1.03-100)) > 1e-9 {
			t.Errorf("total at %g s since 15 s: %g", c.at, got)
		}
	}
}

// The computer has given trim up where it falls most of its way back within some seconds: no loop does that by its rate.
func TestGaveUp(t *testing.T) {
	for _, c := range []struct {
		name, trim string
		mayTurn    bool
		want       bool
	}{
		{"falls to zero at once", "200ms..6s/200ms 0->15; 6.2s..8s/200ms 0", false, true},
		{"goes on", "200ms..8s/200ms 0->15", false, false},
		{"walks back at its own rate", "200ms..6s/200ms 0->15; 6.2s..12s/200ms 15->0", false, false},
		{"a third of the way", "200ms..6s/200ms 0->15; 6.2s..8s/200ms 10", false, false},
		{"from a small answer", "200ms..3s/200ms 0->4; 3.2s..5s/200ms 0", false, false},
		{"the mixture may have been brought back", "200ms..6s/200ms 0->15; 6.2s..8s/200ms 0", true, false},
	} {
		var a answer
		a.begin(Lean, 0, 0.1, trimBase{n: 40, seconds: 12, low: -1.6, high: 1.6}, noise{block: 1, n: 12, sd: 0.9, bias: 0.5})
		a.mayTurn = c.mayTurn
		gave := false
		for _, p := range scripted(t, c.trim, 0, same) {
			a.add(p, p.V, p.V)
			gave = gave || a.gaveUp()
		}
		if gave != c.want {
			t.Errorf("%s: %v (state %d, peak %g)", c.name, gave, a.state, a.peak)
		}
	}
}

// For how long at most trim stood still while the sensor said one side.
func TestRefusal(t *testing.T) {
	for _, c := range []struct {
		name, trim string // at a time: trim, then the side
		want       [2]float64
	}{
		{"stands", "0s..20s/1s 3 lean", [2]float64{20, 0}},
		{"stands, rich", "0s..20s/1s 3 rich", [2]float64{0, 20}},
		{"by a count is standing", "0s..10s/1s 3 lean; 11s..20s/1s 3.7 lean", [2]float64{20, 0}},
		{"by two is not", "0s..10s/1s 3 lean; 11s..20s/1s 4.6 lean", [2]float64{10, 0}},
		{"between the sides", "0s..10s/1s 3 lean; 11s 3 -; 12s..20s/1s 3 lean", [2]float64{10, 0}},
		{"over to the other", "0s..10s/1s 3 lean; 11s..20s/1s 3 rich", [2]float64{10, 9}},
		{"a hole in the readings", "0s..10s/1s 3 lean; 15s..20s/1s 3 lean", [2]float64{10, 0}},
	} {
		var r refusal
		for _, s := range scripttest.Steps(t, c.trim) {
			var v float64
			var side string
			if _, err := fmt.Sscan(s.Words, &v, &side); err != nil {
				t.Fatal(err)
			}
			r.trimRead(s.At.Seconds(), v, Side(strings.Trim(side, "-")))
		}
		if r.longest != c.want {
			t.Errorf("%s: %v, want %v", c.name, r.longest, c.want)
		}
	}
}

// What a guide asked for is the chance of a force then: high for the side that it asks for, low for the other, least with hands off.
func TestAskedFor(t *testing.T) {
	w := NewWatcher(Config{})
	stretchAt := func(at float64, side Side, k *track) *stretch {
		return &stretch{track: k, side: side, first: recent.Reading{Lo: at, Hi: at, V: 0}}
	}
	if _, guided, _ := w.askedFor(stretchAt(5, Lean, &w.volts)); guided || w.asksNow() {
		t.Error("nobody asked, and it is guided")
	}
	w.Asked(10*time.Second, "", false)
	w.Asked(25*time.Second, Lean, false)
	w.Asked(60*time.Second, Rich, false)
	odds := func(at float64, side Side, k *track) float64 {
		v, _, said := w.askedFor(stretchAt(at, side, k))
		if want := k == &w.volts && (side == Lean && at >= 25 && at < 60 || side == Rich && at >= 60); said != want {
			t.Errorf("%s at %g s: asked for %v", side, at, said)
		}
		return v
	}
	handsOff, asked, other, beside := odds(15, Lean, &w.volts), odds(30, Lean, &w.volts), odds(30, Rich, &w.volts), odds(30, Lean, &w.otherVolts)
	if !(handsOff < other && other < asked) || beside != other {
		t.Errorf("hands off %g, the other side %g, the side %g, the other sensor %g", handsOff, other, asked, beside)
	}
	if got := odds(70, Rich, &w.volts); got != asked || !w.asksNow() {
		t.Errorf("rich, when asked for: %g, lean %g", got, asked)
	}
	if _, guided, _ := w.askedFor(stretchAt(5, Lean, &w.volts)); guided {
		t.Error("before the first word it is guided")
	}
	if w.Asked(90*time.Second, "", true); w.asksNow() || !w.open.asked {
		t.Error("hands off again, with the branch open: it still asks for a hold")
	}
}

// Doses count what was metered and enough, and only until the sensor behind followed.
func TestDoses(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*force)
		want   *Dose
	}{
		{"it followed", func(*force) {}, &Dose{At: 10, Side: Lean, Grams: 1.2, Passed: true}},
		{"it did not", func(f *force) { f.down.answered = false }, &Dose{At: 10, Side: Lean, Grams: 5}},
		{"the store was full", func(f *force) { f.down.hasBase, f.down.baseHigh = true, 0.1 }, &Dose{At: 10, Side: Lean, Grams: 1.2, Passed: true, FromFull: true}},
		{"no rear sensor", func(f *force) { f.down.seen = false }, nil},
		{"it was read twice", func(f *force) { f.down.n = 2 }, nil},
		{"it lay there before", func(f *force) { f.down.blind = true }, nil},
		{"trim hardly moved", func(f *force) { f.down.most = 9 }, nil},
		{"a poor contact", func(f *force) { f.share = 0.9 }, nil},
		{"by mixture", func(f *force) { f.loose = true }, nil},
		{"next to none", func(f *force) { f.down.passed = 0.04 }, nil},
	} {
		w := NewWatcher(Config{})
		w.forces = []*force{with(Lean, func(f *force) { f.down.passed = 1.2 }, c.change)}
		got := w.Doses()
		if c.want == nil && len(got) != 0 || c.want != nil && (len(got) != 1 || got[0] != *c.want) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
		if w.air.maf = 5; c.want != nil && !w.Doses()[0].Metered {
			t.Errorf("%s: air flow was read, and it is not metered", c.name)
		}
	}
}

// A raised signal return lifts the sensor's own readings too; a poor contact the held level alone.
func TestReturnOffset(t *testing.T) {
	for _, c := range []struct {
		name   string
		by     By
		side   Side
		change func(*force)
		want   bool
	}{
		{"raised", ByWire, Lean, func(f *force) { f.level, f.volts.low = 0.2, 0.21 }, true},
		{"a good ground", ByWire, Lean, func(f *force) { f.level, f.volts.low = 0.03, 0.05 }, false},
		{"a poor contact", ByWire, Lean, func(f *force) { f.level, f.volts.low = 0.2, 0.08 }, false},
		{"an unsteady one", ByWire, Lean, func(f *force) { f.level, f.volts.low, f.share = 0.2, 0.21, 0.9 }, false},
		{"it did not cycle", ByWire, Lean, func(f *force) { f.level, f.volts = 0.2, voltsBase{low: 0.21, n: 50, seconds: 20} }, false},
		{"by mixture", ByMixture, Lean, func(f *force) { f.level, f.volts.low = 0.2, 0.21 }, false},
		{"held rich", ByWire, Rich, func(f *force) { f.level, f.volts.low = 0.2, 0.21 }, false},
	} {
		w := NewWatcher(Config{By: c.by})
		f := with(c.side, c.change)
		for i := range int(f.beginLo / 0.2) {
			at := float64(i) * 0.2
			w.volts.volts.Add(recent.Reading{Lo: at, Hi: at + 0.1, V: 0.22 + 0.7*float64(i/5%2)})
		}
		w.lookForOffset(f)
		if n := w.lag.swings.n; c.want && (n[0] < 3 || n[1] < 3) {
			t.Errorf("%s: its swings so far are forgotten: %v", c.name, n)
		}
		if got := w.offset == f.level && len(w.events) == 1 && w.events[0].Name == ReturnOffset; got != c.want || !c.want && (w.offset != 0 || len(w.events) > 0) {
			t.Errorf("%s: offset %g, %v", c.name, w.offset, w.events)
		}
		if w.lookForOffset(f); c.want && len(w.events) != 1 {
			t.Errorf("%s: told twice", c.name)
		}
	}
}

// A sensor that lies at 0.66 V while trim is content is a wide-range one at a fifth of 3.3 V: its wire must not be forced.
func TestAtAFifth(t *testing.T) {
	for _, c := range []struct {
		name, volts string
		trim        func(at float64) float64
		closed      bool
		want        bool
	}{
		{"lies there", "0s..8s/500ms 0.66", func(float64) float64 { return 1 }, true, true},
		{"for too short a time", "0s..7s/500ms 0.66", func(float64) float64 { return 1 }, true, false},
		{"not quite there", "0s..20s/500ms 0.71", func(float64) float64 { return 1 }, true, false},
		{"leaves it", "0s..6s/500ms 0.66; 6.5s 0.5; 7s..13s/500ms 0.66", func(float64) float64 { return 1 }, true, false},
		{"was lean before", "0s..1s/500ms 0.3; 2s..20s/500ms 0.66", func(float64) float64 { return 1 }, true, false},
		{"trim takes it for rich", "0s..20s/500ms 0.66", func(at float64) float64 { return -at }, true, false},
		{"trim has learned much", "0s..20s/500ms 0.66", func(float64) float64 { return 11 }, true, true},
		{"trim sways as a wide-range loop's does", "0s..9s/500ms 0.66", func(at float64) float64 { return 2 * math.Sin(at) }, true, true},
		{"trim takes it for rich, slowly", "0s..20s/500ms 0.66", func(at float64) float64 { return -minLoopRate * at }, true, false},
		{"trim is far out already", "0s..20s/500ms 0.66", func(float64) float64 { return -20 }, true, false},
		{"open loop", "0s..20s/500ms 0.66", func(float64) float64 { return 1 }, false, false},
	} {
		var a atAFifth
		for _, p := range scripted(t, c.volts, 0, same) {
			a.addVolts(p, c.trim, c.closed)
		}
		if a.shown != c.want {
			t.Errorf("%s: %v", c.name, a.shown)
		}
	}
}

// Each signal has one role, by the sensor that is watched.
func TestRoles(t *testing.T) {
	for _, c := range []struct {
		sensor, signal string
		want           role
	}{
		{"B1S1", "O2S11", roleVolts}, {"B1S1", "O2S21", roleOtherVolts}, {"B1S1", "O2S12", roleDown}, {"B1S1", "O2S22", roleOtherDown},
		{"B1S1", "SHRTFT1", roleTrim}, {"B1S1", "SHRTFT11", roleTrimBeside}, {"B1S1", "LONGFT1", roleLong},
		{"B1S1", "SHRTFT2", roleOtherTrim}, {"B1S1", "SHRTFT21", roleOtherTrimBeside}, {"B1S1", "LONGFT2", roleOtherLong},
		{"B1S1", "EQ_RAT11", roleWide}, {"B1S1", "EQ_RAT21", roleNone},
		{"B2S1", "O2S21", roleVolts}, {"B2S1", "O2S11", roleOtherVolts}, {"B2S1", "O2S22", roleDown}, {"B2S1", "O2S12", roleOtherDown},
		{"B2S1", "SHRTFT2", roleTrim}, {"B2S1", "SHRTFT1", roleOtherTrim},
		{"B3S1", "O2S31", roleVolts}, {"B3S1", "O2S41", roleOtherVolts}, {"B3S1", "SHRTFT4", roleOtherTrim},
		{"B1S2", "O2S12", roleVolts}, {"B1S2", "O2S22", roleOtherVolts}, {"B1S2", "O2S11", roleNone}, {"B1S3", "O2S12", roleNone},
		{"B1S1", "FUELSYS1", roleStatus}, {"B1S1", "FUELSYS2", roleStatusB}, {"B1S1", "ECT", roleCoolant}, {"B1S1", "RPM", roleRPM},
		{"B1S1", "MAF", roleAir}, {"B1S1", "MAP", roleManifold}, {"B1S1", "FUEL_TYP", roleFit}, {"B1S1", "VSS", roleSpeed}, {"B1S1", "LOAD_PCT", roleNone},
	} {
		id, err := decode.ParseSensorID(c.sensor)
		if err != nil {
			t.Fatal(err)
		}
		w := NewWatcher(Config{Sensor: id})
		for range 2 { // the second time from memory
			if got := w.roles.Of(decode.ByName(c.signal)); got != c.want {
				t.Errorf("%s, %s: role %d, want %d", c.sensor, c.signal, got, c.want)
			}
		}
	}
}

// Figures of a session by hand; special cases are: nothing read is NaN, one reading has no rate, and a bus that reads too seldom
// for the switching counts none.
func TestFigureCases(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name, volts                    string
		readings, changes              int
		seconds, low, high, lean, rich float64
		per10s                         float64
	}{
		{"one reading", "1s 0.5", 1, 0, 0, 0.5, 0.5, 0, 0, nan},
		{"never over", "0s..20s/1s 0.1", 21, 0, 20, 0.1, 0.1, 1, 0, 0},
		{"each 5 s", "0s..4.5s/500ms 0.1; 5s..9.5s/500ms 0.8; 10s..14.5s/500ms 0.1; 15s..19.5s/500ms 0.8", 40, 3, 19.5, 0.1, 0.8, 0.5, 0.5, 10 * 3 / 19.5},
		{"too quick to count", "0s 0.1; 1s 0.8; 2s 0.1; 3s 0.8; 4s 0.1; 5s 0.8; 6s 0.1", 7, 6, 6, 0.1, 0.8, 4. / 7, 3. / 7, nan},
		{"too short to count", "0s..2s/500ms 0.1; 2.5s..4s/500ms 0.8", 9, 1, 4, 0.1, 0.8, 5. / 9, 4. / 9, nan},
		{"a pause is no time", "0s..5s/1s 0.1; 30s..35s/1s 0.8", 12, 0, 10, 0.1, 0.8, 0.5, 0.5, 0},
	} {
		w := NewWatcher(Config{})
		for _, p := range scripted(t, c.volts, 0, same) {
			w.fig.addVolts(p, false)
		}
		g := w.Figures()
		near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 || math.IsNaN(a) && math.IsNaN(b) }
		if g.Readings != c.readings || g.Changes != c.changes || !near(g.Seconds, c.seconds) || !near(g.Low, c.low) || !near(g.High, c.high) ||
			!near(g.ShareLean, c.lean) || !near(g.ShareRich, c.rich) || !near(g.Per10s, c.per10s) {
			t.Errorf("%s: %+v", c.name, g)
		}
		if !near(g.ShareLean+g.ShareMid+g.ShareRich, 1) {
			t.Errorf("%s: the shares make %g", c.name, g.ShareLean+g.ShareMid+g.ShareRich)
		}
	}
	w := NewWatcher(Config{})
	w.fig.addVolts(recent.Reading{Lo: 1, Hi: 1, V: 0.5}, true)
	w.fig.addTrim(3, true)
	if g := w.Figures(); g.Readings != 0 || !math.IsNaN(g.Low) || !math.IsNaN(g.Mean) || !math.IsNaN(g.ShortMean) || !math.IsNaN(g.LongMean) || !math.IsNaN(g.ShortLow) {
		t.Errorf("nothing but what was forced: %+v", g)
	}
}

// Grading a reading by its side: rich from 0.70 V grey and from 0.80 V strong, lean from 0.30 and 0.20 V (trade figures for the strong
// ones). The sides are mirrored, and a reading on none is on none.
func TestGradesOfReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-0.2, 1.3).Draw(t, "volts")
		rich, lean := strength(Rich, v), strength(Lean, v)
		if math.Abs(v-0.8) > 1e-6 && math.Abs(v-0.7) > 1e-6 && rich != strength(Lean, 1-v) && math.Abs(v-0.2) > 1e-6 && math.Abs(v-0.3) > 1e-6 {
			t.Fatalf("%g V is %d rich, %g V %d lean", v, rich, 1-v, strength(Lean, 1-v))
		}
		if rich > 0 && lean > 0 || rich > 0 && !onSide(Rich, v) || lean > 0 && !onSide(Lean, v) {
			t.Fatalf("%g V is %d rich and %d lean", v, rich, lean)
		}
		if s := sideOf(v); s != "" && !onSide(s, v) || s == "" && (onSide(Rich, v) || onSide(Lean, v)) {
			t.Fatalf("%g V is on %q", v, s)
		}
		if strength(Rich, v+0.01) < rich || strength(Lean, v-0.01) < lean {
			t.Fatalf("%g V: farther out is weaker", v)
		}
	})
	for v, want := range map[float64]int{0.69: 0, 0.70: 1, 0.79: 1, 0.80: 2, 1.1: 2} {
		if got := strength(Rich, v); got != want {
			t.Errorf("%g V is %d rich, want %d", v, got, want)
		}
	}
	for v, want := range map[float64]int{0.31: 0, 0.30: 1, 0.21: 1, 0.20: 2, -0.1: 2} {
		if got := strength(Lean, v); got != want {
			t.Errorf("%g V is %d lean, want %d", v, got, want)
		}
	}
}

// The chance of a stay falls with its length, from one to none; a habit is no longer than others bear out.
func TestStaysAreALaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(0.05, 20), 1, 40).Draw(t, "stays")
		s := staysOf(slices.Clone(v))
		if s.n != len(v) || s.longest != slices.Max(v) || s.mid > s.longest || s.shape < 1 || s.shape > 8 {
			t.Fatalf("%+v of %v", s, v)
		}
		a := rapid.Float64Range(0, 60).Draw(t, "secs")
		b := a + rapid.Float64Range(0.01, 60).Draw(t, "more")
		if ca, cb := s.chance(a), s.chance(b); ca > 1+1e-12 || cb > ca || cb < 0 || s.chance(0) != 1 {
			t.Fatalf("chance %g of %g s, %g of %g s", ca, a, cb, b)
		}
		if h := s.habit(a); h > a || len(v) >= 3 && h > 4*s.mid {
			t.Fatalf("habit %g of %g s, middle %g", h, a, s.mid)
		}
		if n := staysOf(append(slices.Clone(v), v...)); n.mean != 0 && math.Abs(n.mean-s.mean) > 1e-9*s.mean {
			t.Fatalf("twice the same has the mean %g, not %g", n.mean, s.mean)
		}
	})
}

// A side that is read just as another stay ends, to which trim had answered, may be what the sensor reports of its end, were that a force;
// not where it was said just then that this side is held.
func TestReportOrHeld(t *testing.T) {
	for _, c := range []struct {
		name string
		said Side
		at   float64
		may  bool
	}{
		{"nothing was said", "", 0, true},
		{"this side was said then", Rich, 75.5, false},
		{"and long before", Rich, 40, true},
		{"the other side was said then", Lean, 75.5, true},
	} {
		w := NewWatcher(Config{})
		for i := range 200 {
			at := 40 + 0.2*float64(i)
			w.trim.short.Add(recent.Reading{Lo: at, Hi: at, V: 10})
		}
		if c.said != "" {
			w.hints = append(w.hints, hint{side: c.said, at: c.at})
		}
		last := recent.Reading{Lo: 75, Hi: 75, V: 0.1}
		w.cands = []candidate{{stretch: stretch{track: &w.volts, side: Lean, last: last}, weight: weight{free: 4}, fromTrim: 8, atEnd: 20}}
		first := recent.Reading{Lo: 75.1, Hi: 75.1, V: 0.9}
		if p := w.afterRelease(&stretch{track: &w.volts, side: Rich, lo: 75, first: first}, 3); (p > -1) != c.may {
			t.Errorf("%s: ln p %.2f", c.name, p)
		}
	}
}

// A stretch ends at a step where the reading leaves it from where it lay just then: one that has crept since it began, and creeps on, took
// none, however far it has come; a wire that is let go took one.
func TestStepFromWhereItLay(t *testing.T) {
	for _, c := range []struct {
		name     string
		from, to float64 // V, during the stretch
		after    float64
		stepped  bool
	}{
		{"it lay still and steps", 0.985, 0.985, 0.93, true},
		{"it crept and steps", 0.985, 0.965, 0.88, true},
		{"it crept, and creeps on", 0.985, 0.965, 0.963, false},
		{"it lies on", 0.985, 0.985, 0.985, false},
	} {
		w := NewWatcher(Config{})
		k := &w.volts
		k.interval = 0.01
		s := &stretch{track: k, side: Rich, level: (c.from + c.to) / 2, n: 8000}
		for i := range 8200 {
			v := c.from + (c.to-c.from)*float64(i)/8000
			if i >= 8000 {
				v = c.after
			}
			p := recent.Reading{Lo: 0.01 * float64(i), Hi: 0.01 * float64(i), V: v}
			k.add(p)
			switch {
			case i == 0:
				s.first = p
			case i < 8000:
				s.last = p
			case i == 8000:
				s.next = p
			}
		}
		if odds := w.edge(s, &restStats{}, s.last, +1); (odds < -1) != c.stepped {
			t.Errorf("%s: %+.1f, as the logarithm of the odds of a free sensor", c.name, odds)
		}
	}
}
