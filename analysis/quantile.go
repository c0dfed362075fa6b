package analysis

import (
	"slices"

	"pushback/analysis/recent"
	"pushback/analysis/stats"
)

// quantile sorts values and returns their q-quantile; NaN for none.
func quantile(values []float64, q float64) float64 {
	slices.Sort(values)
	return stats.SortedQuantile(values, q)
}

// theilSen returns the median of the slopes of all pairs of points that differ in
// time: a slope that a quarter of bad points cannot spoil (Sen, Journal of the
// American Statistical Association 63, 1968). Units: of v per s. NaN for fewer than
// two points. At most 200 points are paired; more are thinned evenly.
func theilSen(points []recent.Reading, slopes []float64) float64 {
	step := (len(points) + 199) / 200
	slopes = slopes[:0]
	for i := 0; i < len(points); i += step {
		for j := i + step; j < len(points); j += step {
			if dt := points[j].T() - points[i].T(); dt > 1e-9 {
				slopes = append(slopes, (points[j].V-points[i].V)/dt)
			}
		}
	}
	return quantile(slopes, 0.5)
}
