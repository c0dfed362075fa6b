package decode

import (
	"bytes"
	"math"
	"regexp"
	"slices"
	"testing"
)

// everyLine returns the table with the sensor lines made out.
func everyLine() []*signalSpec {
	var out []*signalSpec
	for pid := range index.byPID {
		out = append(out, index.byPID[pid]...)
	}
	for _, family := range index.sensor {
		for _, bank := range family {
			for _, l := range bank {
				if l != nil {
					out = append(out, l)
				}
			}
		}
	}
	return out
}

func TestTable(t *testing.T) {
	name := regexp.MustCompile(`^[A-Z][A-Z0-9]*(_[A-Z0-9]+)*$`)
	units := []string{"V", "%", "rpm", "°C", "kPa", "g/s", "km/h", "km", "s", "min", "mA", "°", "L/h", "1", ""}
	lines := everyLine()
	if len(lines) != len(Signals()) {
		t.Errorf("%d lines, %d signals", len(lines), len(Signals()))
	}
	seen := map[string]bool{}
	for _, l := range lines {
		switch {
		case !name.MatchString(l.Name):
			t.Errorf("%s: not a short name", l.Name)
		case seen[l.Name]:
			t.Errorf("%s: twice", l.Name)
		case !slices.Contains(units, l.Unit):
			t.Errorf("%s: unknown unit %q", l.Name, l.Unit)
		case l.What == "" || l.Source == "":
			t.Errorf("%s: no words or no source", l.Name)
		case ByName(l.Name) != &l.Signal || !slices.Contains(Signals(), &l.Signal):
			t.Errorf("%s: not found by its name", l.Name)
		}
		seen[l.Name] = true
		if end := l.at + l.size; end > PIDLength(l.PID) && (!TwoBanked(l.PID) || end > 2) {
			t.Errorf("%s: ends at byte %d of a PID of %d", l.Name, end, PIDLength(l.PID))
		}

		low, high := make([]byte, 11), bytes.Repeat([]byte{0xFF}, 11)
		one := slices.Clone(low)
		if l.mask == 0 {
			one[l.at+l.size-1] = 1
		} else {
			one[l.at+l.size-1] = byte(l.mask & -l.mask)
		}
		widest := byte(0)
		if l.declared != usualScale {
			widest = 0xFF
		}
		got := [3]float64{l.value(l.raw(low), widest), l.value(l.raw(high), widest), l.value(l.raw(one), 0) - l.value(l.raw(low), 0)}
		for i, want := range [3]float64{l.Min, l.Max, l.Resolution} {
			if math.Abs(got[i]-want) > 1e-9 || l.Min >= l.Max {
				t.Errorf("%s: %s by the formula %v, by the table %v", l.Name, [3]string{"minimum", "maximum", "resolution"}[i], got[i], want)
			}
		}
	}
}
