package views

import (
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/words"
)

// MapLead is the view that leads through the drive that fills the trim map, and stops it when it is enough.
type MapLead struct {
	Say  func(string)                          // to people
	Show func(g trimmap.Guidance, turned bool) // on what speaks and rings; turned: another step than before
	JSON *live.JSONLines                       // nil: none
	Stop func()

	lead trimmap.Lead
	step string
	told int // readings of the step when it was told last
}

// Write takes a frame.
func (m *MapLead) Write(f session.Frame) error {
	for _, s := range f.Samples {
		if m.lead.Add(s) {
			m.tell(f)
		}
	}
	return nil
}

func (m *MapLead) tell(f session.Frame) {
	g := m.lead.Now()
	if m.JSON != nil {
		m.JSON.Lead(f.Record.At, g)
	}
	turned := g.Step != m.step
	m.Show(g, turned)
	if turned {
		m.step, m.told = g.Step, -1
		for _, line := range words.LeadStep(g) {
			m.Say(line)
		}
	}
	if g.Enough {
		m.Stop()
		return
	}
	if g.Have == m.told && g.Cell == nil {
		return
	}
	m.told = g.Have
	m.Say(words.LeadFills(f.Record.At, g))
}
