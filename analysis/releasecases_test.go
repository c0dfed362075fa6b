package analysis

import (
	"slices"
	"testing"

	"pushback/analysis/recent"
)

// releaseCase is a release as it is read, written for a sensor that must say rich: it was held lean,
// and the loop had added fuel. Times are since the release.
type releaseCase struct {
	name     string
	volts    string
	trim     string // total, %; it was at zero before the force
	held     float64
	base     voltsBase
	input    openInput
	want     sensorState
	says     bool
	withTrim bool
	open     bool
}

// What a release says follows from section 1 of what a force is for: a sensor reports what the loop made at
// once and for as long as the loop needs to take it out again; all else proves nothing, or the opposite.
// The thresholds of 0.70 and 0.80 V, and 0.20 and 0.30 V, are common practice.
func TestReleaseCases(t *testing.T) {
	cycling := voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.08, high: 0.9, changes: 30,
		lean: staysOf([]float64{0.9, 1, 1.1, 0.9, 1, 1.1, 1, 1, 0.9, 1}), rich: staysOf([]float64{0.9, 1, 1.1, 0.9, 1, 1.1, 1, 1, 0.9, 1}), shareRich: 0.5}
	dead := voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.08, high: 0.12, lean: staysOf([]float64{30})}
	between := voltsBase{n: 150, seconds: 30, interval: 0.2, low: 0.46, high: 0.58, rich: staysOf([]float64{30}), shareRich: 1} // a loop that cycles fast
	lies := between
	lies.high = 0.9
	const goesBack, stays = "0s..6s/200ms 12->0; 6.2s..12s/200ms 0", "0s..12s/200ms 12"
	cases := []releaseCase{
		{name: "at once, for as long as trim is away", volts: "200ms..5.6s/200ms 0.86->0.90; 5.8s..8s/200ms 0.1", trim: goesBack,
			held: 0.05, base: cycling, want: sensorSays, says: true, withTrim: true},
		{name: "the same, on a sensor that never cycled", volts: "200ms..5.6s/200ms 0.86->0.90; 5.8s..8s/200ms 0.1", trim: goesBack,
			held: 0.05, base: dead, want: sensorSays, says: true, withTrim: true},
		{name: "farther than it went at rest, where it lay between the sides", volts: "200ms 0.6; 400ms..5.6s/200ms 0.86->0.90; 5.8s..8s/200ms 0.44", trim: goesBack,
			held: 0.05, base: between, want: sensorSays, says: true, withTrim: true},
		{name: "where it lay at rest", volts: "200ms 0.6; 400ms..5.6s/200ms 0.86->0.90; 5.8s..8s/200ms 0.44", trim: goesBack,
			held: 0.05, base: lies, want: sensorVague},
		{name: "at once, and left while all of trim was there", volts: "200ms..3.2s/200ms 0.86->0.90; 3.4s..8s/200ms 0.1", trim: stays,
			held: 0.05, base: cycling, want: sensorSays},
		{name: "a hot cell's level, for as long as trim is away", volts: "200ms..5.6s/200ms 0.72->0.76; 5.8s..8s/200ms 0.1", trim: goesBack,
			held: 0.05, base: cycling, want: sensorSays, says: true, withTrim: true},
		{name: "a hot cell's level, long after trim is back", volts: "200ms..12s/200ms 0.72->0.76", trim: "0s..2s/200ms 12->0; 2.2s..12s/200ms 0",
			held: 0.05, base: cycling, want: sensorVague},
		{name: "on the side, not far", volts: "200ms..5.6s/200ms 0.62->0.66; 5.8s..8s/200ms 0.1", trim: goesBack,
			held: 0.05, base: cycling, want: sensorVague, withTrim: true},
		{name: "a stay such as it has at rest", volts: "200ms..900ms/100ms 0.88; 1s..8s/200ms 0.1", trim: "0s..1s/200ms 12->4; 1.2s..8s/200ms 4",
			held: 0.05, base: cycling, want: sensorVague},
		{name: "a brush past the side, then never again", volts: "200ms 0.55; 400ms..8s/200ms 0.1->0.2", trim: stays,
			held: 0.05, base: dead, want: sensorMute},
		{name: "never, with trim still away", volts: "200ms..8s/200ms 0.1->0.2", trim: stays, held: 0.05, base: dead, want: sensorMute},
		{name: "never, and trim goes back meanwhile", volts: "200ms..8s/200ms 0.1->0.3", trim: "0s..1s/200ms 12->2; 1.2s..8s/200ms 2",
			held: 0.05, base: cycling, want: sensorVague},
		{name: "one reading only", volts: "200ms 0.1", trim: stays, held: 0.05, base: cycling, want: sensorVague},
		{name: "creeps over from the start, as a slow cell", volts: "200ms..3s/200ms 0.1->0.48; 3.2s..7s/200ms 0.85->0.9", trim: stays,
			held: 0.05, want: sensorLate},
		{name: "comes late, and not far", volts: "200ms..2.6s/200ms 0.485; 2.8s..8s/200ms 0.62", trim: stays, held: 0.05, want: sensorVague},
		{name: "lies at the other end, then jumps", volts: "200ms..2.4s/200ms 0.06; 2.6s..7s/200ms 0.85->0.9", trim: stays,
			held: 0.08, base: dead, want: sensorVague},
		{name: "comes when trim is back", volts: "200ms..3s/200ms 0.1->0.3; 3.2s..7s/200ms 0.85->0.9", trim: "0s..2s/200ms 12->0; 2.2s..7s/200ms 0",
			held: 0.05, base: dead, want: sensorVague},
		{name: "does not move from where it was held", volts: "200ms..8s/200ms 0.05", trim: stays, held: 0.05, base: cycling, want: sensorVague, open: true},
		{name: "comes to the level of the open input", volts: "200ms..8s/200ms 0.42", trim: stays, held: 0.05, base: cycling,
			input: openInput{level: 0.42, known: true}, want: sensorVague, open: true},
	}
	for _, c := range cases {
		for _, side := range []Side{Rich, Lean} {
			r, trims := c.play(t, side)
			if r.state != c.want || r.says() != c.says || r.leftWithTrim() != c.withTrim || r.open != c.open {
				t.Errorf("%s, %s: state %d (%v), want %d; says %v, left with trim %v, open %v", c.name, side, r.state, r.why, c.want, r.says(), r.leftWithTrim(), r.open)
			}
			if r.says() && r.denies(0.2) {
				t.Errorf("%s, %s: it both reports what trim had made and denies it", c.name, side)
			}
			if r.n > 0 && trims > 0 && (r.bottom > r.top || r.hasOn && r.firstOn.T() > r.lastOn.T()) {
				t.Errorf("%s, %s: %v to %v V, from %v to %v s", c.name, side, r.bottom, r.top, r.firstOn, r.lastOn)
			}
		}
	}
}

// play hands a release its readings in order of time, on a side: the other way round for lean, where levels
// are as far from 1 V as they were from 0. It returns how many readings of trim came.
func (c releaseCase) play(t *testing.T, side Side) (release, int) {
	mirror, b, input := same, c.base, c.input
	if side == Lean {
		mirror = func(v float64) float64 { return 1 - v }
		b.low, b.high, b.lean, b.rich, input.level = 1-b.high, 1-b.low, b.rich, b.lean, 1-input.level
	}
	const at = 100
	volts, trims := scripted(t, c.volts, at, mirror), scripted(t, c.trim, at, same)
	r := release{state: sensorOpen, expect: side, lo: at, hi: at, at: at, heldAt: mirror(c.held), prompt: promptByWire, openReading: openReading{input: input},
		trimThen: 12, trimNow: 12, trimMade: 12, reached: reached{bottom: 9, top: -9}}
	n := len(trims)
	for _, p := range volts {
		for len(trims) > 0 && trims[0].Hi <= p.Hi {
			r.trimNow, trims = trims[0].V, trims[1:]
		}
		r.addVolts(p, b)
	}
	if r.state == sensorOpen {
		r.decide(volts[len(volts)-1].Hi, b, true)
	}
	return r, n
}

// The loop cycles again from the first of three changes of side that follow each other; one change, and one
// long ago, are none.
func TestTurns(t *testing.T) {
	b := voltsBase{lean: staysOf([]float64{1, 1, 1}), rich: staysOf([]float64{1, 1, 1})}
	for _, c := range []struct {
		name, volts string
		from        float64 // s; 0: it does not
	}{
		{"cycles", "1s 0.1; 2s 0.8; 3s 0.1; 4s 0.8", 2},
		{"stays", "1s..60s/1s 0.8", 0},
		{"goes over once", "1s..20s/1s 0.1; 21s..60s/1s 0.8", 0},
		{"goes over and back", "1s 0.1; 2s 0.8; 3s..60s/1s 0.1", 0},
		{"a lone change long ago", "1s 0.1; 2s..30s/1s 0.8; 31s 0.1; 32s 0.8; 33s 0.1", 31},
		{"between the sides", "1s 0.1; 2s 0.45; 3s 0.1; 4s 0.45; 5s 0.1; 6s 0.45", 0},
		{"over the middle", "1s 0.1; 2s 0.45; 3s 0.8; 4s 0.45; 5s 0.1; 6s 0.45; 7s 0.8", 3},
	} {
		for _, f := range []func(float64) float64{same, func(v float64) float64 { return 0.9 - v }} {
			r := release{}
			for _, p := range scripted(t, c.volts, 0, f) {
				r.turn(p, b)
			}
			if r.resumed != (c.from > 0) || r.resumedAt != c.from {
				t.Errorf("%s: %v, from %v s, want %v s", c.name, r.resumed, r.resumedAt, c.from)
			}
		}
	}
}

// What trim does about a force, as it is read: totals in whole counts, mirrored for a rich force. The force
// begins at zero.
func TestAnswerCases(t *testing.T) {
	hunts := trimBase{n: 40, seconds: 12, low: -1.6, high: 1.6, median: 0, last: 0}
	rest := noise{block: 1, n: 12, sd: 0.9, bias: 0.5} // of such hunting
	for _, c := range []struct {
		name, trim string
		want       []answerState
	}{
		{"a ramp", "200ms..1s/200ms 0; 1.2s..6s/200ms 0->12", []answerState{answered}},
		{"a jump", "200ms..1s/200ms 0; 1.2s..6s/200ms 10", []answerState{answered}},
		{"a ramp to a limit", "200ms..5s/200ms 0->20; 5.2s..12s/200ms 20", []answerState{answered}},
		{"it hunts on", "200ms..1s/200ms 0->1.5; 1.2s..3s/200ms 1.5->-1.5; 3.2s..5s/200ms -1.5->1.5; 5.2s..7s/200ms 1.5->-1.5", []answerState{answerOpen}},
		{"with the force", "200ms..6s/200ms 0->-12", []answerState{wrongWay}},
		{"it stands", "200ms..4s/200ms 0", []answerState{answerOpen}},
		{"one reading far out", "200ms..2s/200ms 0; 2.2s 9; 2.4s..4s/200ms 0", []answerState{answerOpen}},
		{"a step of one count", "200ms..2s/200ms 0; 2.2s..5s/200ms 0.8", []answerState{answerOpen}},
	} {
		for _, side := range []Side{Lean, Rich} {
			var a answer
			a.begin(side, 0, 0.1, hunts, rest)
			for _, p := range scripted(t, c.trim, 0, func(v float64) float64 { return a.up * v }) {
				a.add(p, p.V, p.V)
				if a.bottom > a.top || a.now > a.top || a.now < a.bottom {
					t.Fatalf("%s, %s: %v is not within %v to %v", c.name, side, a.now, a.bottom, a.top)
				}
			}
			if !slices.Contains(c.want, a.state) {
				t.Errorf("%s, %s: state %d, want %v; moved %.1f %%", c.name, side, a.state, c.want, a.moved())
			}
		}
	}
}

// A limit is where an answer stops, after a while or far out; near the middle a short one may have been hunting.
func TestStopsAtALimit(t *testing.T) {
	for from, want := range map[float64]bool{20: true, 0: false} {
		for _, side := range []Side{Lean, Rich} {
			var a answer
			up := map[Side]float64{Lean: 1, Rich: -1}[side]
			base := trimBase{n: 40, seconds: 12, low: up*from - 0.8, high: up*from + 0.8, median: up * from, last: up * from}
			a.begin(side, 0, 0.1, base, noise{block: 1, n: 12, mean: up * from, sd: 0.5, bias: 0.3})
			for _, p := range scripted(t, "200ms..4s/200ms 0->4; 4.2s..16s/200ms 4", 0, same) {
				v := up * (from + p.V)
				a.rate, a.rated = 1, true
				a.add(recent.Reading{Lo: p.Lo, Hi: p.Hi, V: v}, v, v)
			}
			if a.state != answered || a.limit != want {
				t.Errorf("%s, from %.0f %%: state %d, limit %v", side, from, a.state, a.limit)
			}
		}
	}
}

// Trim that is given up goes back to zero: where it stood above at rest, that is no answer with the force.
func TestGivenUpIsNotTheWrongWay(t *testing.T) {
	for _, side := range []Side{Lean, Rich} {
		for end, want := range map[float64]answerState{0: answerOpen, -8: wrongWay} {
			var a answer
			up := map[Side]float64{Lean: 1, Rich: -1}[side]
			base := trimBase{n: 40, seconds: 12, low: 3.9, high: 7, median: 5.5, last: 5.5}
			if side == Rich {
				base = trimBase{n: 40, seconds: 12, low: -7, high: -3.9, median: -5.5, last: -5.5}
			}
			a.begin(side, 0, 0.1, base, noise{block: 1, n: 12, mean: base.median, sd: 0.9, bias: 0.5})
			for i := range 60 {
				at, v := 0.2*float64(i+1), end
				switch {
				case at < 3:
					v = 5.5 + at
				case at < 5:
					v = 8.5 + (end-8.5)*(at-3)/2
				}
				a.add(recent.Reading{Lo: at, Hi: at, V: up * v}, up*v, up*v)
			}
			if a.state != want {
				t.Errorf("%s, to %.0f %%: state %d, want %d", side, end, a.state, want)
			}
		}
	}
}
