package analysis

import (
	"testing"

	"pushback/analysis/scripttest"
)

// scripted reads a script of readings, its times counted from at, its values changed by f.
func scripted(t testing.TB, text string, at float64, f func(float64) float64) []point {
	t.Helper()
	var out []point
	for _, p := range scripttest.Points(t, text) {
		out = append(out, point{lo: p.At + at, hi: p.At + at, v: f(p.Value)})
	}
	return out
}

func same(v float64) float64 { return v }
