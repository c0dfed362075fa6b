package stats

import (
	"math"
	"strconv"
	"testing"
)

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 CUSUM Control Charts: the
// worked example of 20 group means, target 325, k = 0.3175, h = 4.1959.
func TestCUSUMOfTheHandbook(t *testing.T) {
	values := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
		324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	high := []float64{0, 0, 0, 0, 0.0325, 0, 0, 0, 0, 0, 0, 0, 3.0075, 4.9400, 7.4475, 10.6300, 11.9875, 14.4450, 16.0025, 19.0350}
	low := []float64{0, 0.0075, 0, 0.3325, 0, 0, 0.5575, 0.7150, 0.1725, 0.2550, 0.3125, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	up, down := CUSUM{K: 0.3175, H: 4.1959}, CUSUM{K: 0.3175, H: 4.1959}
	for i, v := range values {
		alarm := up.Add(v - 325)
		if down.Add(325 - v) {
			t.Errorf("group %d alarms downward", i+1)
		}
		if alarm != (i+1 >= 14) {
			t.Errorf("group %d: alarm %v", i+1, alarm)
		}
		if math.Abs(up.Sum-high[i]) > 1e-9 || math.Abs(down.Sum-low[i]) > 1e-9 {
			t.Errorf("group %d: sums %.4f and %.4f, the handbook has %.4f and %.4f", i+1, up.Sum, down.Sum, high[i], low[i])
		}
	}
}

// R's package spc solves the integral equation (testdata/cusum.R). Its figures for two
// sides are those of printed tables: half of 335.4 is 168 for k = 0.5, h = 4, half of
// 930.9 is 465 for h = 5 (D. C. Montgomery, Introduction to Statistical Quality Control, from
// memory).
func TestRunLengthsAgainstR(t *testing.T) {
	within := 0
	for _, row := range text(t, "cusum.csv") {
		var k, h, x, want float64
		for i, p := range []*float64{&k, &h, &x, &want} {
			var err error
			if *p, err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		switch row[0] {
		case "run length":
			if got := runLength(k, h, x); got < 0.93*want || got > 1.07*want {
				t.Errorf("k %g, h %g, shift %g: run length %.4g, exact %.4g", k, h, x, got, want)
			}
		case "alarm within":
			within++
			if got := AlarmLimit(k, int(x), want); got < h-1e-6 || x >= 15 && got > h+1.5 {
				t.Errorf("k %g: for %.3g within %g the limit is %.3f, exactly %g would do", k, want, x, got, h)
			}
		}
	}
	if within == 0 {
		t.Error("no chance of an alarm was compared")
	}
}
