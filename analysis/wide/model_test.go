package wide

import (
	"fmt"
	"math"
	"sort"
	"testing"
)

func TestTryGain(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*plant)
	}{
		{"sound", func(*plant) {}},
		{"half", func(p *plant) { p.gain = 0.5 }},
		{"undelivered", func(p *plant) { p.deliver = 0 }},
		{"tau .6", func(p *plant) { p.tauRich, p.tauLn = 0.6, 0.6 }},
		{"slow rich", func(p *plant) { p.tauRich = 0.8 }},
		{"slow lean", func(p *plant) { p.tauLn = 0.8 }},
	} {
		for _, rate := range []float64{3, 5, 10} {
			var gs, ts, ds []float64
			cover, slow := 0, 0
			n := 20
			for seed := range uint64(n) {
				p := sound()
				c.edit(&p)
				p.feed = []feed{{0.07, 20.3 + float64(seed)*0.07, 1 + float64(seed%4), 34, 0.5 + float64(seed%3)*0.5}}
				tr := p.trace(50, rate, seed)
				i := 0
				for tr.YT[i] < 6 {
					i++
				}
				tr.YT, tr.Y = tr.YT[i:], tr.Y[i:]
				e, _ := Fit(tr, Shape{21.5, 1, 34.5, 1})
				gs, ts, ds = append(gs, e.G), append(ts, e.Tau), append(ds, e.Delay)
				want := p.gain * p.deliver
				if e.GLow <= want && want <= e.GHigh {
					cover++
				}
				if e.TauLow > 0.35 {
					slow++
				}
			}
			q := func(v []float64) string {
				sort.Float64s(v)
				return fmt.Sprintf("%.2f %.2f %.2f", v[n/20], v[n/2], v[n-1-n/20])
			}
			_ = math.Pi
			fmt.Printf("%-12s %2.0f/s  g %s (covered %d)  tau %s (slow %d)  D %s\n", c.name, rate, q(gs), cover, q(ts), slow, q(ds))
		}
	}
}
