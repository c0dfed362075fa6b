package analysis

import "slices"

// trimCount is one count of the trim's scaling, % (SAE J1979, PIDs 06 to 09).
const trimCount = 100.0 / 128

// trimStream is one bank's short-term trim, from whichever signals carry it.
//
// The reply that brings a sensor's voltage may bring that bank's trim too
// (SHRTFT11 beside O2S11). It is believed only after it was compared with the
// bank's own SHRTFT1: on some cars the two differ by several per cent.
type trimStream struct {
	short series // accepted readings of short-term trim, %
	long  series // long-term trim, %

	bankSeen  int // readings of SHRTFTb
	withVolts int // readings of SHRTFTbs
	lastWith  point
	diffs     []float64 // |SHRTFTb - SHRTFTbs| of readings close in time
	agreed    bool
}

const (
	pairWithin = 1.0 // s: readings of the two signals this close are compared
	pairsAsked = 6
)

func newTrimStream() trimStream {
	return trimStream{short: newSeries(4096), long: newSeries(256), diffs: make([]float64, 0, pairsAsked)}
}

// bank takes a reading of SHRTFTb.
func (t *trimStream) bank(p point) {
	t.bankSeen++
	if !t.agreed && t.withVolts > 0 && p.t()-t.lastWith.t() < pairWithin && len(t.diffs) < cap(t.diffs) {
		t.diffs = append(t.diffs, abs(p.v-t.lastWith.v))
		if len(t.diffs) == cap(t.diffs) {
			slices.Sort(t.diffs)
			if sortedQuantile(t.diffs, 0.5) <= 2*trimCount {
				t.agreed = true
			}
			t.diffs = t.diffs[:0]
		}
	}
	t.short.add(p)
}

// beside takes the trim that came in the same reply as the voltage; it reports
// whether the reading was accepted.
func (t *trimStream) beside(p point) bool {
	t.withVolts++
	t.lastWith = p
	if t.agreed || (t.bankSeen == 0 && t.withVolts > 10) {
		t.short.add(p)
		return true
	}
	return false
}

// total is short-term trim plus what long-term trim has learned since ref:
// what the computer does about the mixture now, on the short-term scale.
func (t *trimStream) total(p point, ref float64) float64 {
	return p.v + t.longAt(p.t()) - t.longAt(ref)
}

// longAt is the long-term trim that was in force at time at, %; 0 if unknown.
func (t *trimStream) longAt(at float64) float64 {
	i := t.long.from(at)
	if i < t.long.n && t.long.at(i).t() == at {
		return t.long.at(i).v
	}
	if i > 0 {
		return t.long.at(i - 1).v
	}
	if t.long.n > 0 {
		return t.long.at(0).v
	}
	return 0
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
