package analysis

import (
	"math"
	"slices"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
	"pushback/decode"
)

const trimCount = decode.TrimCount

// trimStream is one bank's short-term trim, from whichever signals carry it.
//
// The reply that brings a sensor's voltage may bring that bank's trim too
// (SHRTFT11 beside O2S11). It is believed only after it was compared with the
// bank's own SHRTFT1: on some cars the two differ by several per cent.
type trimStream struct {
	short recent.Series // accepted readings of short-term trim, %
	long  recent.Series // long-term trim, %

	bankSeen  int // readings of SHRTFTb
	withVolts int // readings of SHRTFTbs
	lastWith  recent.Reading
	waiting   recent.Reading // a reading of SHRTFTb that waits for the next of SHRTFTbs
	hasWait   bool
	diffs     [pairsKept]float64 // of the latest pairs
	pairs     int
	agreed    bool
}

const (
	pairWithin = 1.0 // s: readings of the two signals this close are compared
	pairsKept  = 6
	pairsAsked = 4
)

func newTrimStream() trimStream {
	return trimStream{short: recent.New(4096), long: recent.New(256)}
}

// bank takes a reading of SHRTFTb.
func (t *trimStream) bank(p recent.Reading) {
	t.bankSeen++
	t.waiting, t.hasWait = p, true
	t.short.Add(p)
}

// beside takes the trim that came in the same reply as the voltage; it reports
// whether the reading was accepted.
func (t *trimStream) beside(p recent.Reading) bool {
	t.withVolts++
	if t.hasWait {
		t.compare(p)
	}
	t.lastWith = p
	if t.agreed || (t.bankSeen == 0 && t.withVolts > 10) {
		t.short.Add(p)
		return true
	}
	return false
}

// compare takes the waiting reading of SHRTFTb against the reading of SHRTFTbs
// before it or after it, whichever is closer: trim may have jumped on one side.
func (t *trimStream) compare(next recent.Reading) {
	w := t.waiting
	t.hasWait = false
	diff := math.Inf(1)
	if t.withVolts > 1 && w.T()-t.lastWith.T() < pairWithin {
		diff = abs(w.V - t.lastWith.V)
	}
	if next.T()-w.T() < pairWithin {
		diff = min(diff, abs(w.V-next.V))
	}
	if math.IsInf(diff, 1) {
		return
	}
	t.diffs[t.pairs%pairsKept] = diff
	t.pairs++
	n := min(t.pairs, pairsKept)
	d := t.diffs
	slices.Sort(d[:n])
	t.agreed = n >= pairsAsked && stats.SortedQuantile(d[:n], 0.5) <= 2*trimCount
}

// totalOf is total trim at a reading of short-term trim, %.
func (t *trimStream) totalOf(p recent.Reading) float64 { return decode.TotalTrim(p.V, t.longAt(p.T())) }

// total is short-term trim plus what long-term trim has learned since ref: what the computer does about
// the mixture now, on the short-term scale and in its counts, which is what is judged of it.
func (t *trimStream) total(p recent.Reading, ref float64) float64 { return t.asAt(ref, p.V, p.T()) }

// asAt is what short-term trim v, %, at time at would have to be with the long-term trim of time ref, for as much fuel.
func (t *trimStream) asAt(ref, v, at float64) float64 {
	long, then := t.longAt(at), t.longAt(ref)
	if long == then {
		return v
	}
	return (100+v)*(100+long)/(100+then) - 100
}

// longAt is the long-term trim that was in force at time at, %; 0 if unknown. It learns slowly and
// is read seldom: between two readings it went from one to the other.
func (t *trimStream) longAt(at float64) float64 { return t.long.Line(at) }

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
