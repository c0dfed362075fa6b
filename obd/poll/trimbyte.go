package poll

import (
	"math"
	"slices"

	"pushback/decode"
)

// trimByte finds out whether the trim that comes with a sensor's voltage (second
// byte of PIDs 14 to 1B) is the bank's short-term trim, so that PID 06 or 08 need not
// be read as often. It is taken on only after it agreed, and given up when it
// stops doing so.
type trimByte struct {
	with, alone string // names of the two signals
	item        *item  // PID 06 or 08
	last        float64
	have        bool
	diffs       []float64 // in counts, the newest last
	values      []float64
}

const (
	pairsWanted = 6
	pairsKept   = 9
	agreeing    = 2.0 // counts; the two are read one after the other
	count       = decode.TrimCount
)

func (t *trimByte) observe(samples []decode.Sample) {
	for _, s := range samples {
		switch s.Signal.Name {
		case t.with:
			t.last, t.have = s.Value, !s.Missing
			if s.Missing { // FF: this sensor's trim is not told
				t.reset()
			}
		case t.alone:
			if !s.Missing && t.have {
				t.pair(math.Abs(s.Value-t.last)/count, s.Value)
			}
		}
	}
}

func (t *trimByte) reset() {
	t.diffs, t.values = t.diffs[:0], t.values[:0]
	t.item.fast = true
}

func (t *trimByte) pair(diff, value float64) {
	if len(t.diffs) == pairsKept {
		t.diffs = slices.Delete(t.diffs, 0, 1)
		t.values = slices.Delete(t.values, 0, 1)
	}
	t.diffs, t.values = append(t.diffs, diff), append(t.values, value)
	n := len(t.diffs)
	if !t.item.fast {
		if n >= 2 && t.diffs[n-1] > agreeing && t.diffs[n-2] > agreeing {
			t.reset()
		}
		return
	}
	// Two readings that never move agree without meaning the same.
	if n < pairsWanted || slices.Min(t.values) == slices.Max(t.values) {
		return
	}
	sorted := slices.Sorted(slices.Values(t.diffs))
	if sorted[n/2] <= agreeing {
		t.item.fast = false
	}
}
