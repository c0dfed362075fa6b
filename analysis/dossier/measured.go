package dossier

import (
	"pushback/analysis"
	"pushback/analysis/measure"
	"pushback/analysis/trimmap"
)

// Measured is what a session has measured beside its verdict.
type Measured struct {
	measure.Findings
	Oxygen []analysis.Dose // that the catalyst gave and took

	collector *measure.Collector
	holds     []measure.Hold
}

func (m *Measured) finish(forced []trimmap.Span, mixture bool, doses []analysis.Dose) {
	for i, f := range forced {
		m.holds[i].From, m.holds[i].To = f.From, f.To
	}
	m.Findings, m.Oxygen = m.collector.Findings(m.holds, mixture), doses
}

// Breathing is how the engine filled in a pull; litres is its displacement, 0: as a note of the session has
// said, if any has. nil: it is not shown.
func (m *Measured) Breathing(litres float64) *measure.Breathing {
	if m.collector == nil { // nothing was read
		return nil
	}
	return m.collector.Breathing(m.holds, litres)
}
