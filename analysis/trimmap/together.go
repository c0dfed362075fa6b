package trimmap

import "pushback/analysis/reason"

// Together names what two banks say that neither says alone.
type Together string

const (
	Opposite   Together = "opposite_limits" // far out on opposite sides wherever it was driven
	Restricted Together = "one_restricted"  // apart the farther, the more air flows, by as much on either side
)

// Pair is what two banks say together.
type Pair struct {
	Name   Together
	Bank   int // of Restricted: the one that draws less air
	Says   reason.Reason
	Points []reason.Reason
}

// The rows are worked out, and common practice, no source.
//
// Swapped sensors: each bank's trim is driven by the other's reading, so a difference between the banks grows until
// both stand at their limits, on opposite sides.
//
// A bank whose exhaust or intake is restricted draws (1/2 - d) of the metered air and the other (1/2 + d), while each
// gets fuel for a half: trims of -2d and +2d, and d grows with flow as back pressure does.
const (
	opposite   = 15.0 // %, of each
	restricted = 5.0  // %, of each at high flow
	widens     = 3.0  // %, by which each grows with flow
)

// pairOf looks at the first two banks.
func pairOf(banks []Result, unit string) *Pair {
	if len(banks) != 2 || banks[0].Fit.Model == NoModel || banks[1].Fit.Model == NoModel {
		return nil
	}
	cuts, adds := banks[0], banks[1]
	if cuts.Fit.AtMid.Value > adds.Fit.AtMid.Value {
		cuts, adds = adds, cuts
	}
	beyond := func(i Interval, by float64) bool {
		return by < 0 && i.Value < by && i.Hi < by/2 || by > 0 && i.Value > by && i.Lo > by/2
	}
	both := cuts.ends(reason.Reason{}, reason.BankEnds, unit)
	both = adds.ends(both, reason.AndBankEnds, unit)
	c, a := cuts.Fit, adds.Fit
	switch {
	case beyond(c.AtLow, -opposite) && beyond(c.AtHigh, -opposite) && beyond(a.AtLow, opposite) && beyond(a.AtHigh, opposite):
		return &Pair{Name: Opposite, Says: reason.OppositeTrims.Of(both), Points: []reason.Reason{reason.SensorPlugs.Of(), reason.WhoseTrim.Of()}}
	case beyond(c.AtHigh, -restricted) && beyond(a.AtHigh, restricted) && c.Model != LevelOnly && a.Model != LevelOnly &&
		c.AtLow.Value-c.AtHigh.Value > widens && a.AtHigh.Value-a.AtLow.Value > widens:
		return &Pair{Name: Restricted, Bank: cuts.Bank, Says: reason.OneDrawsLess.Of(both, cuts.Bank),
			Points: []reason.Reason{reason.BackPressure.Of(cuts.Bank), reason.BreathesBadly.Of()}}
	}
	return nil
}

// ends adds a bank's trims at both ends.
func (r Result) ends(to reason.Reason, c reason.Code, unit string) reason.Reason {
	return to.And(c, r.Bank, r.Fit.AtLow.Value, r.Fit.Low, unit, r.Fit.AtHigh.Value, r.Fit.High)
}
