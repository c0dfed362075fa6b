package accuracy

import (
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/decode"
	"pushback/obd"
)

// Why a hold from 20 to 32 s was not seen, by two readings/s: of a level before, in it and after it, and trim.
func TestUnseen(t *testing.T) {
	for _, c := range []struct {
		name                string
		before, held, after float64
		trim                float64 // from 22 s on, before 0
		weighed             float64 // its log odds; 0: not
		told                []told
		want                string
		every               float64
	}{
		{name: "a dead sensor at the wire's level", before: 0.05, held: 0.06, after: 0.05, every: 0.5, want: "nothing shows: the reading lay there before and after, and trim did not move"},
		{name: "trim answers", before: 0.05, held: 0.06, after: 0.05, trim: 4, every: 0.5, want: "only trim shows it: the reading lay there before and after"},
		{name: "seldom read", before: 0.8, held: 0.05, after: 0.8, every: 5, want: "nothing shows: fewer than four readings in it"},
		{name: "on its side already", before: 0.15, held: 0.05, after: 0.15, every: 0.5, want: "the reading lay on that side before, at another level"},
		{name: "weighed", before: 0.8, held: 0.05, after: 0.8, every: 0.5, weighed: 4, want: "a level: more likely than not, not enough to say"},
		{name: "weighed as its own", before: 0.8, held: 0.05, after: 0.8, every: 0.5, weighed: -2, want: "a level: no likelier than this car's own stays"},
		{name: "not weighed", before: 0.8, held: 0.05, after: 0.8, every: 0.5, want: "a level, never weighed as one stretch"},
		{name: "told late", before: 0.8, held: 0.05, after: 0.8, every: 0.5, told: []told{{side: "lean", begin: 26, end: 32}}, want: "told, but begun 4 s off and more"},
		{name: "told rich", before: 0.8, held: 0.05, after: 0.8, every: 0.5, told: []told{{side: "rich", begin: 20, end: 32}}, want: "told of the other side"},
	} {
		var r readings
		for at := 0.0; at < 40; at += c.every {
			v, u := c.before, 0.0
			if at >= 32 {
				v = c.after
			} else if at >= 20 {
				v = c.held
			}
			if at >= 22 {
				u = c.trim
			}
			r.v, r.u = append(r.v, [2]float64{at, v}), append(r.u, [2]float64{at, u})
		}
		var weighed []analysis.Weighed
		if c.weighed != 0 {
			weighed = []analysis.Weighed{{Side: analysis.Lean, Begin: 20, End: 32, LogOdds: c.weighed}, {Side: analysis.Rich, Begin: 20, End: 32, LogOdds: 9}}
		}
		if got := r.unseen(truth.Force{Side: "lean", Begin: 20, End: 32}, c.told, weighed); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// The same of a ratio that is moved from 20 to 32 s and that the loop brings back within eight.
func TestUnseenRatio(t *testing.T) {
	for _, c := range []struct {
		name  string
		moved float64 // of the ratio
		trim  float64 // from 22 s on
		noise float64
		every float64
		said  obd.MarkKind
		told  []told
		want  string
	}{
		{name: "said and plain", moved: 0.05, trim: 5, every: 0.5, said: obd.MarkLean, want: "the ratio shows it"},
		{name: "said of the other side", moved: 0.05, trim: 5, every: 0.5, said: obd.MarkRich, want: "the ratio shows it: it was said of the other side"},
		{name: "not said", moved: 0.05, trim: 5, every: 0.5, want: "the ratio shows it: it was not said within 8 s"},
		{name: "small", moved: 0.015, trim: 5, every: 0.5, said: obd.MarkLean, want: "the ratio shows it: by less than 2 %, or than three times its noise"},
		{name: "in the noise", moved: 0.05, noise: 0.04, every: 0.5, said: obd.MarkLean, want: "nothing shows: the ratio moved by less than 1 % or twice its noise, and trim did not"},
		{name: "by trim alone", trim: 5, every: 0.5, said: obd.MarkLean, want: "only trim shows it"},
		{name: "seldom read", moved: 0.05, every: 3, said: obd.MarkLean, want: "nothing shows: fewer than four readings in it"},
		{name: "told rich", moved: 0.05, every: 0.5, said: obd.MarkLean, told: []told{{side: "rich", begin: 20, end: 32}}, want: "told of the other side"},
	} {
		r := readings{wide: true}
		for i, at := 0, 0.0; at < 40; i, at = i+1, at+c.every {
			v, u := 1+c.noise*float64(i%2*2-1), 0.0
			if at >= 20 && at < 28 {
				v += c.moved
			}
			if at >= 22 {
				u = c.trim
			}
			r.v, r.u = append(r.v, [2]float64{at, v}), append(r.u, [2]float64{at, u})
		}
		if c.said != "" {
			r.said = []obd.Record{{At: 19 * time.Second, Mark: &obd.Mark{Kind: c.said}}, {At: 32 * time.Second, Mark: &obd.Mark{Kind: obd.MarkRelease}}}
		}
		if got := r.unseen(truth.Force{Side: "lean", Begin: 20, End: 32}, c.told, nil); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	wide := &truth.Test{Wide: &truth.Wide{}}
	for _, c := range []struct {
		t    *truth.Test
		id   decode.SensorID
		want string
	}{
		{wide, decode.SensorID{Bank: 1, Position: 1}, "EQ_RAT11"},
		{wide, decode.SensorID{Bank: 1, Position: 2}, "O2S12"},
		{&truth.Test{}, decode.SensorID{Bank: 1, Position: 1}, "O2S11"},
	} {
		if got := readingsOf(c.t, c.id); !strings.HasPrefix(got.reading, c.want) || got.wide != (c.t == wide && c.id.Position == 1) {
			t.Errorf("%v: %+v", c.id, got)
		}
	}
}

func TestCauses(t *testing.T) {
	known := &truth.Test{Accepted: []string{"loop_proven"}, Undecided: []string{"unclear"}, Forces: []truth.Force{{Side: "lean", Begin: 20, End: 32}, {Side: "rich", Begin: 50, End: 60, Faint: true}}}
	event := func(name analysis.EventName, s analysis.Side, t float64) analysis.Event {
		return analysis.Event{Name: name, Side: s, T: t}
	}
	res := session.Result{End: 80 * time.Second, Verdict: analysis.Verdict{Conclusion: analysis.ConclusionUnclear},
		Events: []analysis.Event{event(analysis.ForceBegins, analysis.Lean, 27), event(analysis.ForceEnds, analysis.Lean, 32), event(analysis.ForceBegins, analysis.Rich, 32.5), event(analysis.ForceEnds, analysis.Rich, 40)}}
	var r Result
	r.compare(known, res)
	r.Looked.Causes = r.causes(known, res, &readings{}, nil)
	var b strings.Builder
	PrintCauses(&b, "cars", []Result{r})
	for _, want := range []string{"told where none was with marks without as a hold of the other side ended 0 1", "in pieces, or begun 4 s off and more with marks without a later part of it 0 1",
		"not seen with marks without told, but begun 4 s off and more 0 1", "undecided with marks without no proof is missing 0 1"} {
		if got := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(got, want) {
			t.Errorf("no %q in %s", want, got)
		}
	}
}
