package analysis

import (
	"testing"

	"pushback/analysis/recent"
)

// A held wire whose sensor is still joined to it moves with the mixture; one that was on the other side meanwhile is let go.
func TestAHeldLevelThatSlides(t *testing.T) {
	for _, c := range []struct {
		name    string
		between []float64 // V, before it lies at the new level
		level   float64
		want    bool
	}{
		{"it creeps", []float64{0.88, 0.87, 0.86, 0.85, 0.84}, 0.83, true},
		{"contact is lost for a moment, to the middle", []float64{0.45, 0.46, 0.45}, 0.83, true},
		{"the sensor was lean meanwhile, and is rich again", []float64{0.09, 0.08, 0.09, 0.37, 0.7}, 0.83, false},
		{"it lies far from where it was held", nil, 0.62, false},
		{"it lies on the other side", nil, 0.1, false},
	} {
		k, at := newTrack(), 0.0
		read := func(n int, v float64) {
			for range n {
				at += 0.1
				k.add(recent.Reading{Lo: at, Hi: at, V: v})
			}
		}
		read(100, 0.90)
		for _, v := range c.between {
			read(1, v)
		}
		read(12, c.level)
		f := &force{side: Rich, level: 0.90, volts: voltsBase{changes: 20}}
		if got := f.slides(&k); got != c.want {
			t.Errorf("%s: slides %v, want %v; the run is at %.2f V", c.name, got, c.want, k.run.level())
		}
	}
}
