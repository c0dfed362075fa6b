package page

import (
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// view is all that the page shows beside the traces, in words ready to be shown.
// Wide because it is the JSON of that, and the page's script takes it field by field.
type view struct {
	Big     string        `json:"big"`
	Side    analysis.Side `json:"side"` // whose colour the headline has
	Loud    bool          `json:"loud"`
	Alarm   bool          `json:"alarm"` // let go now: the tone goes on until it is done
	Good    string        `json:"good"`  // of a verdict: good, bad, doubt
	Say     string        `json:"say"`
	Caution string        `json:"caution"`
	Step    string        `json:"step"`   // of a verdict: the one to do now
	Voice   string        `json:"voice"`  // to be spoken where it is new; "" nothing
	Reads   analysis.Side `json:"reads"`  // of the reading
	Reading string        `json:"volts"`  // that in words
	Wide    bool          `json:"wide"`   // the reading is a lambda
	Label   string        `json:"label"`  // of the reading, where it is one
	Motion  string        `json:"motion"` // of trim, in words
	Last    string        `json:"last"`
	Second  string        `json:"second"` // the other bank's sensor, where its wire is held too
	Cond    []string      `json:"cond"`
	Arcs    []arcView     `json:"arcs"`
	Buttons []button      `json:"buttons"`
	Over    bool          `json:"over"`
	Proofs  []proofView   `json:"proofs"`
	Next    []string      `json:"next"` // after the step
	From    int           `json:"from"` // number of the first of them
	Play    *playView     `json:"play"` // of a replay
}

type playView struct {
	Speed string  `json:"speed"`
	Still bool    `json:"still"`
	End   float64 `json:"end"` // s
}

type arcView struct {
	ID    analysis.ProofID `json:"id"`
	State analysis.State   `json:"state"`
	Open  bool             `json:"open"`
	Fill  float64          `json:"fill"`
	Sign  string           `json:"sign"`
	Says  string           `json:"says"`
}

type proofView struct {
	Sign  string         `json:"sign"`
	State analysis.State `json:"state"`
	Title string         `json:"title"`
	Why   string         `json:"why"`
}

// button is one thing that can be done now; the first is the big one.
type button struct {
	Do   string        `json:"do"`
	Text string        `json:"text"`
	Side analysis.Side `json:"side"`
}

func viewOf(s *live.State, c live.Controls, replay Status) view {
	head := words.Big(s)
	v := view{Big: head.Text, Side: head.Side, Loud: head.Loud, Alarm: words.Overheld(s) && !replay.Still && !replay.Quiet,
		Say: words.Tapped(s), Caution: words.Caution(s), Voice: words.Voice(s),
		Reads: s.Reads(), Reading: words.ReadsText(s.Reads()), Wide: s.Wide, Motion: words.TrimDoes(s.TrimMotion()), Second: words.Second(s), Cond: words.Conditions(s), Buttons: buttons(s, c)}
	if c.Play != nil {
		v.Play = &playView{replay.Speed, replay.Still, c.Play.End.Seconds()}
	}
	if s.Wide {
		v.Label = words.LambdaOf(s.Setup.Sensor.String())
	}
	if s.Last != nil {
		v.Last = words.Clock(s.Last.At) + "  " + words.TickText(*s.Last)
	}
	for _, a := range s.Ring.Arcs() {
		// Whole hundredths: the drawing shows no more.
		v.Arcs = append(v.Arcs, arcView{a.ID, a.State, a.Open(), float64(int(100*a.Fill)) / 100, words.ArcSign(a), words.ArcSays(a)})
	}
	if s.Verdict != nil && s.Drive != nil { // nothing was asked that has a verdict
		v.Over, v.Good = true, "doubt"
		if s.Drive.Enough {
			v.Good = "good"
		}
	} else if s.Verdict != nil {
		v.Over, v.Next, v.From, v.Step = true, words.Rest(*s.Verdict), words.First(*s.Verdict), words.VerdictOf(*s.Verdict).Step
		v.Good = goodness(s.Verdict.Conclusion)
		for _, b := range s.Verdict.Banks() {
			for _, p := range b.Proofs {
				a := ring.Arc{ID: p.ID, State: p.State}
				v.Proofs = append(v.Proofs, proofView{words.ArcSign(a), p.State, strings.TrimSpace(b.Sensor + " " + words.ProofTitles[p.ID]), why.Text(p.Why)})
			}
		}
		// What is wrong comes first: a phone shows the top of the list.
		slices.SortStableFunc(v.Proofs, func(a, b proofView) int { return urgency[a.State] - urgency[b.State] })
	}
	return v
}

var urgency = map[analysis.State]int{analysis.Failed: 0, analysis.Unclear: 1, analysis.Proven: 2, analysis.Untested: 3}

func goodness(c analysis.Conclusion) string {
	switch c {
	case analysis.LoopProven, analysis.PartlyProven:
		return "good"
	case analysis.ConclusionUnclear, analysis.ConclusionNotReady, analysis.NothingForced:
		return "doubt"
	}
	return "bad"
}

// buttons offers what the step needs; where it needs nothing, a mark in the
// recording.
func buttons(s *live.State, c live.Controls) []button {
	if s.Verdict != nil || c.Mark == nil {
		return nil
	}
	mark := button{Do: "note", Text: words.Page.Mark}
	if s.Prompt != nil && c.Enter != nil {
		var b []button
		switch p := s.Prompt; {
		case p.Drive:
			b = append(b, mark)
		case p.Stage == session.StageForce:
			b = append(b, button{"enter", words.IsOn(p.Side), p.Side})
		case p.Stage == session.StageHold, p.Stage == session.StageRelease:
			b = append(b, button{Do: "release", Text: words.Page.Released})
		case p.Stage == session.StageBaseline:
			return nil // hands off, of the phone too
		default:
			b = append(b, mark)
		}
		return append(b, button{Do: "skip", Text: words.Page.Skip}, button{Do: "repeat", Text: words.Page.Repeat})
	}
	if s.Drive != nil {
		return []button{mark}
	}
	if s.Phase == live.Held {
		return []button{{Do: "release", Text: words.Page.Released}, mark}
	}
	return []button{{"lean", words.IsOn(analysis.Lean), analysis.Lean}, {"rich", words.IsOn(analysis.Rich), analysis.Rich}, mark}
}

// axis is what stands on the time axis.
type axis struct {
	Bands []bandView `json:"bands"`
	Ticks []tickView `json:"ticks"`
}

type bandView struct {
	Side analysis.Side `json:"side"`
	From float64       `json:"from"`
	To   *float64      `json:"to"` // null: still held
}

type tickView struct {
	At   float64       `json:"at"`
	Sign string        `json:"sign"`
	Side analysis.Side `json:"side"`
}

func axisOf(s *live.State, from time.Duration) axis {
	a := axis{Bands: []bandView{}, Ticks: []tickView{}}
	for _, b := range s.Holds {
		v := bandView{Side: b.Side, From: b.From.Seconds()}
		if !b.Open {
			if b.To < from {
				continue
			}
			to := b.To.Seconds()
			v.To = &to
		}
		a.Bands = append(a.Bands, v)
	}
	for _, t := range s.Ticks {
		if sign, side := words.TickSign(t); sign != "" && t.At >= from {
			a.Ticks = append(a.Ticks, tickView{t.At.Seconds(), sign, side})
		}
	}
	return a
}
