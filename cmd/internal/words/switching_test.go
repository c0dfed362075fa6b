package words

import (
	"math"
	"testing"

	"pushback/analysis/switching"
)

func TestFlankText(t *testing.T) {
	for _, c := range []struct {
		e    switching.Edge
		want string
	}{
		{switching.Edge{}, "none seen"},
		{switching.Edge{Count: 4, AtMost: 0.9}, "not measurable at 2.1 readings/s"},
		{switching.Edge{Count: 4, AtLeast: 0.05, AtMost: 0.07}, "between 50 and 70 ms"},
		{switching.Edge{Count: 4, AtMost: 0.07}, "within 70 ms"},
	} {
		if got := FlankText(c.e, 2.1); got != c.want {
			t.Errorf("%+v: %q, want %q", c.e, got, c.want)
		}
	}
}

// TestReadingsText: a table whose rows all have one time has no readings a second.
func TestReadingsText(t *testing.T) {
	for rate, want := range map[float64]string{58.71: "200 readings (58.7/s)", math.NaN(): "200 readings"} {
		if got := ReadingsText(switching.SpeedBand{Readings: 200, PerSecond: rate}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
