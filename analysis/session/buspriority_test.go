package session

import (
	"slices"
	"testing"

	"pushback/analysis"
)

type awaiter []bool

func (a *awaiter) Await(answer bool) { *a = append(*a, answer) }

func TestBusPriority(t *testing.T) {
	var got awaiter
	a := NewBusPriority(&got)
	for _, names := range [][]analysis.EventName{
		{analysis.Ready}, {analysis.ForceBegins}, {analysis.LoopAnswers}, {analysis.TrimAtLimit},
		{analysis.ForceEnds, analysis.SensorAnswers}, {analysis.SwitchingResumes},
	} {
		var f Frame
		for _, n := range names {
			f.Events = append(f.Events, analysis.Event{Name: n})
		}
		if err := a.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if want := []bool{true, false, true, false, false}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}
