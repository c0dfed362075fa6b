package switching_test

import (
	"fmt"
	"time"

	"pushback/analysis/switching"
	"pushback/decode"
)

// A sensor at idle that is rich for a second and lean for a second, read ten times a second.
func ExampleCollector() {
	c := switching.NewCollector("B1S1")
	for i := range 600 {
		at := time.Duration(i) * 100 * time.Millisecond
		volts := 0.1
		if i/10%2 == 0 {
			volts = 0.8
		}
		c.Add(decode.Sample{Signal: decode.ByName("RPM"), Sent: at, Received: at, Value: 750})
		c.Add(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: volts})
	}
	for _, b := range c.Bands(nil) {
		fmt.Printf("%s: %.1f to %.1f V, %.0f changes in 10 s, period %.1f s\n", b.Name, b.Low, b.High, b.Per10s, b.Period)
	}
	// Output: idle: 0.1 to 0.8 V, 10 changes in 10 s, period 2.0 s
}
