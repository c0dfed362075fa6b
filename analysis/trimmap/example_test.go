package trimmap_test

import (
	"fmt"
	"time"

	"pushback/analysis/trimmap"
	"pushback/decode"
)

// A car with unmetered air: it adds much fuel at idle and little with much air.
func ExampleBuild() {
	var c trimmap.Collector
	at := time.Duration(0)
	add := func(name string, v float64) {
		c.Add(decode.Sample{Signal: decode.ByName(name), Sent: at, Received: at, Value: v})
	}
	for range 2 {
		for _, flow := range []float64{3, 6, 12, 24} { // g/s
			for range 40 {
				at += time.Second
				add("FUELSYS1", 2)
				add("ECT", 90)
				add("RPM", 800)
				add("LOAD_PCT", 30)
				add("MAF", flow)
				add("LONGFT1", 0)
				add("SHRTFT1", 45/flow)
			}
		}
	}
	m := trimmap.Build(c.Data(nil, 0))
	fmt.Println(m.Banks[0].Pattern, m.Banks[0].Fit.Model)
	// Output: adds_at_idle a_b_and_c
}
