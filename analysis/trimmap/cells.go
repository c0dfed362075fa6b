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

// Cells returns a bank's cells that have readings, by speed, then load.
func Cells(readings []Reading, bank int) []Cell {
	speeds, loads := len(SpeedEdges)-1, len(LoadEdges)-1
	values, stay := make([][]float64, speeds*loads), make([]float64, speeds*loads)
	cells, count := make([]int16, len(readings)), make([]int, speeds*loads)
	for i := range readings {
		cells[i] = -1
		if r := &readings[i]; r.Bank == bank {
			if at, ok := At(*r); ok {
				k := at.Speed*loads + at.Load
				cells[i] = int16(k)
				count[k]++
			}
		}
	}
	for k, n := range count {
		values[k] = make([]float64, 0, n) // a long session is not copied as it grows
	}
	last := math.Inf(-1)
	for i, k := range cells {
		if k < 0 {
			continue
		}
		r := &readings[i]
		values[k] = append(values[k], r.Total())
		if dt := r.At - last; dt < pause {
			stay[k] += dt
		}
		last = r.At
	}
	var out []Cell
	for s := range speeds {
		for l := range loads {
			k := s*loads + l
			v := values[k]
			if len(v) == 0 {
				continue
			}
			c := Cell{CellAt: CellAt{s, l}, Count: len(v), Seconds: stay[k], SD: stats.SD(v)}
			for _, x := range v {
				c.Mean += x / float64(len(v))
			}
			c.P10, c.P90 = stats.Quantile(v, 0.1), stats.Quantile(v, 0.9)
			c.Thin = c.Count < fewReadings || c.Seconds < fewSeconds
			out = append(out, c)
		}
	}
	return out
}
