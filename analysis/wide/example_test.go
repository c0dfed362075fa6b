package wide_test

import (
	"fmt"
	"time"

	"pushback/analysis"
	"pushback/analysis/wide"
	"pushback/decode"
)

// The wire of a wide-range sensor is never forced: a test by wire is never ready.
func ExampleWatcher() {
	w := wide.New(analysis.Config{By: analysis.ByWire})
	for at := time.Duration(0); at < 10*time.Second; at += 500 * time.Millisecond {
		for _, e := range w.Step(decode.Sample{Signal: decode.ByName("EQ_RAT11"), Sent: at, Received: at + 20*time.Millisecond, Value: 1}) {
			fmt.Println(e.Name, e.Reasons[0][0].Code)
		}
	}
	fmt.Println(w.Verdict().Conclusion)
	// Output:
	// not_ready wide_never_hold
	// not_ready
}
