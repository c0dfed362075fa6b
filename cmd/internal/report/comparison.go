package report

import (
	"fmt"
	"strings"

	"pushback/analysis/compare"
	"pushback/analysis/dossier"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// Comparison is what the two sides of a repair come to, in words.
type Comparison struct {
	Answer  compare.Answer
	Shifted bool
	Differ  bool // they are of different vehicles
	Why     string
	Mean    []float64  // %, total trim before and after under the same conditions; nil: none
	Trims   [][]string // bank, speed, load, readings, before, after, difference, answer
	Sensor  [][]string // what, before, after, difference, answer
	Force   [][]string // what, before, after, answer
	Tests   [][]string // the computer's own, the same
	Codes   [][]string // code, state, change, meaning
	Open    [2]string  // monitors that are not complete
	Limits  []string
}

// NewComparison words a comparison.
func NewComparison(c dossier.Comparison) *Comparison {
	r := c.Trims
	out := &Comparison{Answer: r.Answer, Shifted: r.Shifted, Differ: c.Different(), Why: why.Text(r.Why), Limits: words.CompareLimits(c.Limits)}
	for _, x := range r.Cells {
		out.Trims = append(out.Trims, changeRow([]string{fmt.Sprint(x.Bank), words.EdgeText(trimmap.SpeedEdges, x.Speed), words.EdgeText(trimmap.LoadEdges, x.Load)}, x, cellAnswer(x)))
	}
	if o := r.Overall; o != nil {
		out.Mean = []float64{o.Before.Mean, o.After.Mean}
		out.Trims = append(out.Trims, changeRow([]string{"all", "", ""}, *o, out.Words()))
	}
	for _, f := range c.Sensor {
		if cells, ok := words.SensorRow(f); ok {
			out.Sensor = append(out.Sensor, cells)
		}
	}
	for _, p := range c.Force {
		out.Force = append(out.Force, words.ForceRow(p))
	}
	for _, p := range c.Tests {
		if cells, ok := words.TestRow(p); ok {
			out.Tests = append(out.Tests, cells)
		}
	}
	for _, p := range c.Codes {
		change := string(p.Change)
		if p.ByTest {
			change += ", set by the test"
		}
		out.Codes = append(out.Codes, []string{p.Code.Code, p.State, change, words.TroubleCode(p.Code.Code)})
	}
	for i, open := range c.Open {
		if out.Open[i] = strings.Join(open, ", "); len(open) == 0 {
			out.Open[i] = "none known"
		}
	}
	return out
}

func changeRow(cell []string, x compare.Change, answer string) []string {
	return append(cell, fmt.Sprintf("%d, %d", x.Before.Count, x.After.Count), words.Signed(x.Before.Mean, 1),
		words.Signed(x.After.Mean, 1), words.DifferenceCell(x), answer)
}

func cellAnswer(x compare.Change) string {
	answer := words.Compared(x.Answer, false)
	if x.Shifted && x.Answer == compare.NoDifference {
		answer = "moved"
	}
	if x.Warming {
		answer += ", still warming"
	}
	return answer
}

// Words name the comparison's answer.
func (c *Comparison) Words() string {
	if c.Differ {
		return strings.ToLower(words.TwoVehicles)
	}
	return words.Compared(c.Answer, c.Shifted)
}
