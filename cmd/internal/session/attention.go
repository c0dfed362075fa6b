package session

import "pushback/analysis"

// Awaiter is told whether the answer to a force, or to its release, is awaited.
type Awaiter interface{ Await(answer bool) }

// Attention is a sink that tells a source by the events when an answer is awaited: from a
// force or its release until the watcher has what it waits for.
type Attention struct{ source Awaiter }

// NewAttention returns a sink that tells a.
func NewAttention(a Awaiter) Attention { return Attention{a} }

// Write takes one frame.
func (a Attention) Write(f Frame) error {
	for _, e := range f.Events {
		switch e.Name {
		case analysis.ForceBegins, analysis.ForceEnds:
			a.source.Await(true)
		case analysis.LoopAnswers, analysis.LoopSilent, analysis.LoopWrongWay, analysis.OpenLoop,
			analysis.SensorAnswers, analysis.SensorSilent, analysis.SwitchingResumes:
			a.source.Await(false)
		}
	}
	return nil
}
