package trimmap

import (
	"encoding/json"
	"math"
	"slices"

	"pushback/analysis/stats"
)

// Interval is a value with its 95 % interval. In JSON what is not known is null.
type Interval struct {
	Value float64 `json:"value"`
	Lo    float64 `json:"min"`
	Hi    float64 `json:"max"`
}

// MarshalJSON rounds to four decimals.
func (i Interval) MarshalJSON() ([]byte, error) {
	number := func(v float64) any {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return math.Round(v*1e4) / 1e4
	}
	return json.Marshal(struct {
		Value any `json:"value"`
		Lo    any `json:"min"`
		Hi    any `json:"max"`
	}{number(i.Value), number(i.Lo), number(i.Hi)})
}

func around(v, half float64) Interval { return Interval{v, v - half, v + half} }

// Sign is +1 or -1 where the interval leaves zero out, else 0.
func (i Interval) Sign() int {
	switch {
	case i.Lo > 0:
		return 1
	case i.Hi < 0:
		return -1
	}
	return 0
}

// Model says which of the terms a/flow + b + c·flow the data could tell apart.
type Model string

const (
	NoModel   Model = "none"      // too few readings
	LevelOnly Model = "level"     // b: one air flow only
	Falling   Model = "b_and_a"   // b + a/flow: the range is too short to tell a from c
	Full      Model = "a_b_and_c" // all three
)

// Fit is total trim against air flow for one bank: a/flow + b + c·flow. A constant
// amount of unmetered air is a, an error of scale b, a supply that runs out c.
type Fit struct {
	Model          Model
	Count          int
	Low, Mid, High float64 // the flows it speaks of: 5 % and 95 % quantiles, and between
	A, B, C        Interval
	AtLow, AtMid   Interval // %, trim at those flows
	AtHigh, Falls  Interval // Falls: trim at low less at high flow
	Spread         float64  // %, of readings around it
}

// How far the flows must reach for what (from highest to lowest), and how many readings
// each third of their range must hold (a rule of thumb: with less, a and c trade places).
const (
	levelReach = 1.6
	fullReach  = 3.0
	perThird   = 15
	fewest     = 20
	memory     = 30.0 // s that readings are taken to depend on each other
)

// FitBank fits a bank's readings.
//
// Special cases are: readings whose flow is not known or not above 0 do not count; fewer than 20 of
// them, one a second at most, or flows that cannot be told apart are [NoModel], with Count alone set;
// terms that the range of flows cannot tell apart stay zero (see Model).
func FitBank(readings Readings, bank int) Fit {
	var s seconds
	for r := range readings {
		if r.Bank == bank {
			s.add(&r)
		}
	}
	return s.fit()
}

// seconds are a bank's readings, one after the other: what is read more often than once a second says the same again, so its
// mean counts.
type seconds struct {
	count       int
	flow, total []float64
	n           float64 // readings in the last mean
	first, last float64 // s, the first reading of all and of the last mean
}

func (s *seconds) add(r *Reading) {
	if !(r.Flow > 0) {
		return
	}
	s.count++
	if len(s.total) == 0 {
		s.first = r.At
	}
	if i := len(s.total) - 1; i >= 0 && r.At < s.last+1 {
		s.n++
		s.flow[i] += (r.Flow - s.flow[i]) / s.n
		s.total[i] += (r.Total() - s.total[i]) / s.n
		return
	}
	s.last, s.n = r.At, 1
	s.flow, s.total = append(s.flow, r.Flow), append(s.total, r.Total())
}

func (s *seconds) fit() Fit {
	f := Fit{Model: NoModel, Count: s.count}
	flow, y := s.flow, s.total
	if len(y) < fewest {
		return f
	}
	sorted := slices.Clone(flow)
	f.Low, f.High = stats.Quantile(sorted, 0.05), stats.Quantile(sorted, 0.95)
	f.Mid = math.Sqrt(f.Low * f.High)
	reach := f.High / f.Low
	var third [3]int
	for _, x := range flow {
		third[min(max(int(3*math.Log(x/f.Low)/math.Log(reach)), 0), 2)]++
	}
	terms := func(x float64) []float64 { return []float64{1} }
	switch {
	case reach < levelReach:
		f.Model = LevelOnly
	case reach >= fullReach && slices.Min(third[:]) >= perThird:
		f.Model = Full
		terms = func(x float64) []float64 { return []float64{1, 1 / x, x} }
	default:
		f.Model = Falling
		terms = func(x float64) []float64 { return []float64{1, 1 / x} }
	}
	rows := make([][]float64, len(y))
	for i, x := range flow {
		rows[i] = terms(x)
	}
	rate := 0.0
	if s.last > s.first {
		rate = float64(len(y)-1) / (s.last - s.first)
	}
	m, err := stats.Huber(rows, y, stats.Lag(len(y), rate, memory))
	if err != nil {
		return Fit{Model: NoModel, Count: f.Count}
	}
	t := m.T(0.95)
	at := func(x []float64) Interval { v, se := m.Predict(x); return around(v, t*se) }
	f.Spread = m.Scale
	f.B = around(m.Coef[0], t*m.SE(0))
	if f.Model != LevelOnly {
		f.A = around(m.Coef[1], t*m.SE(1))
	}
	if f.Model == Full {
		f.C = around(m.Coef[2], t*m.SE(2))
	}
	lo, hi := terms(f.Low), terms(f.High)
	f.AtLow, f.AtMid, f.AtHigh = at(lo), at(terms(f.Mid)), at(hi)
	diff := make([]float64, len(lo))
	for i := range lo {
		diff[i] = lo[i] - hi[i]
	}
	f.Falls = at(diff)
	return f
}
