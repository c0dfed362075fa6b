package session

import (
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/obd"
)

// A wide-range sensor that is shown at a fifth of its voltage: the guide ends before it asks anyone to hold the wire.
func TestGuideLeavesAFifthAlone(t *testing.T) {
	setup, err := NewSetup("B1S1", "wire", obd.Format{})
	if err != nil {
		t.Fatal(err)
	}
	j := NewJudge(setup)
	var steps []string
	done := false
	g := NewGuide(GuideConfig{}, j, func(p Prompt) { steps = append(steps, p.Step(analysis.ByWire)) }, func() { done = true })
	for at := time.Duration(0); at < 60*time.Second && !done; at += 200 * time.Millisecond {
		trim := 0.78 * float64(int(at.Seconds())%2)
		f := j.Step(obd.Record{At: at, Row: &obd.Row{Names: []string{"O2S11", "SHRTFT1", "FUELSYS1", "RPM", "ECT"}, Values: []float64{0.66, trim, 2, 700, 88}}})
		if err := g.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if all := strings.Join(steps, " "); !done || strings.Contains(all, "lean") || strings.Contains(all, "rich") {
		t.Errorf("done %v, asked for %s", done, all)
	}
	if c := j.Verdict().Conclusion; c != analysis.ConclusionNotReady {
		t.Errorf("concludes %s", c)
	}
}
