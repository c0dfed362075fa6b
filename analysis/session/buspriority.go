package session

import (
	"slices"

	"pushback/analysis"
)

// Prioritizer is told whether the answer to a force, or to its release, is awaited.
type Prioritizer interface{ Await(answer bool) }

// BusPriority is a sink that tells a source by the events when an answer is awaited, so
// that the bus goes to the watched pair: from a force or its release until the watcher
// has what it waits for.
type BusPriority struct{ source Prioritizer }

// NewBusPriority returns a sink that tells p.
func NewBusPriority(p Prioritizer) BusPriority { return BusPriority{p} }

// Write takes one frame.
func (b BusPriority) Write(f Frame) error {
	for _, e := range slices.Concat(f.Events, f.Beside) {
		switch e.Name {
		case analysis.ForceBegins, analysis.ForceEnds:
			b.source.Await(true)
		case analysis.LoopAnswers, analysis.LoopSilent, analysis.LoopWrongWay, analysis.OpenLoop,
			analysis.SensorAnswers, analysis.SensorSilent, analysis.SwitchingResumes:
			b.source.Await(false)
		}
	}
	return nil
}
