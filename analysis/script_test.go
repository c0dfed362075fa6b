package analysis

import (
	"testing"

	"pushback/analysis/recent"
	"pushback/analysis/scripttest"
)

// scripted reads a script of readings, its times counted from at, its values changed by f.
func scripted(t testing.TB, text string, at float64, f func(float64) float64) []recent.Reading {
	t.Helper()
	var out []recent.Reading
	for _, p := range scripttest.Points(t, text) {
		out = append(out, recent.Reading{Lo: p.At + at, Hi: p.At + at, V: f(p.Value)})
	}
	return out
}

func same(v float64) float64 { return v }
