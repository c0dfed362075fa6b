package wide

import (
	"math"
	"testing"

	"pushback/analysis"
	"pushback/analysis/recent"
)

// Behind a target that sways by 3 % each way and is read each four seconds the model shows a force of 5 % where it was said and there was one.
func TestSought(t *testing.T) {
	for _, c := range []struct {
		name   string
		fed    float64
		said   told
		begins bool
	}{
		{"gas", 0.05, told{side: analysis.Rich, at: 30, release: 44}, true},
		{"air, said late", -0.05, told{side: analysis.Lean, at: 32, release: 45}, true},
		{"gas, said to be air", 0.05, told{side: analysis.Lean, at: 30, release: 44}, false},
		{"nothing", 0, told{side: analysis.Rich, at: 30, release: 44}, false},
		{"said of a moment", 0.05, told{side: analysis.Rich, at: 30, release: 32}, false},
		{"of a cold engine", 0.05, told{side: analysis.Rich, at: 30, release: 44, cold: true}, false},
		{"seen already", 0.05, told{side: analysis.Rich, at: 30, release: 44, used: true}, false},
	} {
		p := sound()
		p.dither, p.kp = 0.03, 0.25
		p.feed = []feed{{c.fed, 30.3, 1.5, 44, 0.5}}
		w := New(analysis.Config{By: analysis.ByMixture})
		w.told = []told{c.said}
		ratio, command := 0.0, 0.0
		p.run(56, 3, func(s state) {
			r := recent.Reading{Lo: s.t, Hi: s.t}
			if s.t >= command {
				command, r.V = s.t+4, s.command
				w.command.Add(r)
			}
			if s.t >= ratio {
				ratio, r.V = s.t+0.2, s.lambda
				w.own.lambda.Add(r)
				r.V = math.Round(s.trim*128) / 1.28
				w.own.trim.Add(r)
			}
		})
		w.seekSaid(53)
		if len(w.forces) > 0 {
			t.Errorf("%s: sought while its return goes on", c.name)
		}
		w.seekSaid(56)
		w.seekSaid(57)
		if (len(w.forces) == 1) != c.begins {
			t.Errorf("%s: %d forces", c.name, len(w.forces))
			continue
		}
		if !c.begins {
			continue
		}
		f := &w.forces[0]
		if math.Abs(f.begin-30.8) > 1 || math.Abs(f.end-44.5) > 1 || !f.seen || !f.marked || len(w.events) < 2 || w.events[0].Name != analysis.ForceBegins {
			t.Errorf("%s: from %.1f to %.1f s, %v", c.name, f.begin, f.end, w.events)
		}
	}
}
