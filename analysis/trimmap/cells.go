package trimmap

import (
	"math"
	"sort"

	"pushback/analysis/stats"
)

// SpeedEdges and LoadEdges are the cells of a map: from an edge up to below the next.
var (
	SpeedEdges = []float64{0, 1000, 1500, 2000, 2500, 3000, 4000, math.Inf(1)} // rpm
	LoadEdges  = []float64{0, 20, 40, 60, 80, math.Inf(1)}                     // %
)

// CellAt is the cell of a speed and a load; unknown load is no cell.
type CellAt struct{ Speed, Load int }

// At returns the cell of a reading; false where its load is not known.
func At(r Reading) (CellAt, bool) {
	if math.IsNaN(r.Load) || math.IsNaN(r.RPM) {
		return CellAt{}, false
	}
	return CellAt{slot(SpeedEdges, r.RPM), slot(LoadEdges, r.Load)}, true
}

func slot(edges []float64, v float64) int {
	i := sort.Search(len(edges), func(i int) bool { return edges[i] > v })
	return min(max(i-1, 0), len(edges)-2)
}

// Cell is one cell of a bank's map.
type Cell struct {
	CellAt
	Count    int
	Seconds  float64
	Mean     float64 // %, total trim
	SD       float64 // %
	P10, P90 float64 // %
	Thin     bool    // too few or too short to lean on
}

// A cell of less is thin (common practice, no source): trim hunts over seconds.
const (
	fewReadings = 10
	fewSeconds  = 10.0
	pause       = 5.0 // s: readings farther apart do not belong to one stay
)

// filling is a bank's readings, one after the other, by cell.
type filling struct {
	totals []stats.Tally // by speed, then load
	stay   []float64     // s
	last   float64       // s, of the reading before
}

func (f *filling) add(r *Reading) {
	at, ok := At(*r)
	if !ok {
		return
	}
	loads := len(LoadEdges) - 1
	if f.totals == nil {
		n := (len(SpeedEdges) - 1) * loads
		f.totals, f.stay, f.last = make([]stats.Tally, n), make([]float64, n), math.Inf(-1)
	}
	k := at.Speed*loads + at.Load
	f.totals[k].Add(r.Total())
	if dt := r.At - f.last; dt < pause {
		f.stay[k] += dt
	}
	f.last = r.At
}

// cells are those that have readings, by speed, then load.
func (f *filling) cells() []Cell {
	loads := len(LoadEdges) - 1
	var out []Cell
	for k := range f.totals {
		t := &f.totals[k]
		if t.Len() == 0 {
			continue
		}
		c := Cell{CellAt: CellAt{k / loads, k % loads}, Count: t.Len(), Seconds: f.stay[k], Mean: t.Mean(), SD: t.SD()}
		c.P10, c.P90 = t.Quantile(0.1), t.Quantile(0.9)
		c.Thin = c.Count < fewReadings || c.Seconds < fewSeconds
		out = append(out, c)
	}
	return out
}
