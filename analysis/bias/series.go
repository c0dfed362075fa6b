package bias

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Series is one of the preferred number series of resistors (IEC 60063).
type Series struct {
	Name      string
	Tolerance float64 // that parts of this series commonly have, a fraction
	decade    []float64
}

// E12 and E24 are tables of their own in IEC 60063, not the rounded powers.
var (
	E12 = Series{"E12", 0.10, []float64{1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2}}
	E24 = Series{"E24", 0.05, []float64{1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2, 2.2, 2.4, 2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1}}
	E96 = Series{"E96", 0.01, powers(96)}
)

// powers returns the n numbers of a decade, rounded to three digits.
func powers(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Round(100*math.Pow(10, float64(i)/float64(n))) / 100
	}
	return out
}

// ParseSeries finds a series by its name.
func ParseSeries(name string) (Series, error) {
	for _, s := range []Series{E12, E24, E96} {
		if strings.EqualFold(name, s.Name) {
			return s, nil
		}
	}
	return Series{}, fmt.Errorf("find resistor series %q: not E12, E24 or E96", name)
}

// Between lists the values of the series from lo to hi Ω, both included.
//
// Special cases are: lo of 0 or below has no decade to begin with, and lists none; nor does lo above hi.
func (s Series) Between(lo, hi float64) []float64 {
	var out []float64
	if !(lo > 0) || math.IsInf(hi, 1) {
		return nil
	}
	for e := math.Floor(math.Log10(lo)); math.Pow(10, e) <= hi; e++ {
		for _, m := range s.decade {
			// Through text, so that 1.2·10³ is 1200 and not 1199.9999999999998.
			v, _ := strconv.ParseFloat(fmt.Sprintf("%ge%d", m, int(e)), 64)
			if lo <= v && v <= hi {
				out = append(out, v)
			}
		}
	}
	return out
}

// Ohms writes a resistance as it is said: 680 Ω, 1.5 kΩ, 1 MΩ.
func Ohms(r float64) string {
	switch {
	case math.IsInf(r, 1):
		return "open"
	case r >= 1e6:
		return fmt.Sprintf("%.3g MΩ", r/1e6)
	case r >= 1e3:
		return fmt.Sprintf("%.3g kΩ", r/1e3)
	}
	return fmt.Sprintf("%.3g Ω", r)
}
