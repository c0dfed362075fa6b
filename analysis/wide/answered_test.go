package wide

import (
	"testing"

	"pushback/analysis"
)

// A loop that hunts widely and is slow has left its hunting seconds after it began to answer. What is told of the answer is when it
// began: with the mixture at the sensor (its way 0.35 s, its lag 0.1 s) and the next readings of both.
func TestAnswerIsDatedToItsBeginning(t *testing.T) {
	const from, trials, rate = 20.0, 20, 4.0
	held, told, late := 0, 0, 0
	for seed := range uint64(trials) {
		p := sound()
		p.kp, p.ki, p.dither, p.feed = 0.05, 0.12, 0.02, []feed{{0.07, from, 0.5, 34, 0.5}}
		begin := p.delay + from
		w := New(analysis.Config{By: analysis.ByMixture})
		var began float64
		take := func(events []analysis.Event) {
			for _, e := range events {
				switch e.Name {
				case analysis.ForceBegins:
					began = e.T
				case analysis.LoopAnswers:
					told++
					if began+e.AfterMin <= begin+p.tauRich+2/rate && began+e.AfterMax >= begin {
						held++
					}
					if e.T > begin+1.5 {
						late++
					}
				}
			}
		}
		marked := false
		for _, s := range p.samples(50, rate, seed) {
			if !marked && s.Received.Seconds() > from {
				marked = true
				take(w.Mark(s.Received, analysis.Rich))
			}
			take(w.Step(s))
		}
	}
	if told < trials*8/10 || late < trials/4 {
		t.Errorf("%d of %d answers told, %d of them plain late", told, trials, late)
	}
	if held < told*9/10 {
		t.Errorf("%d of %d intervals hold when trim began to move", held, told)
	}
}
