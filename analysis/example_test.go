package analysis_test

import (
	"fmt"
	"time"

	"pushback/analysis"
	"pushback/decode"
)

// A cold engine is not ready for a test, and no test was seen: the verdict says no more than that.
func ExampleWatcher() {
	w := analysis.NewWatcher(analysis.Config{})
	show := func(events []analysis.Event) {
		for _, e := range events {
			for _, r := range e.Reasons {
				fmt.Println(e.Name, r[0].Code, r[0].Figures)
			}
		}
	}
	for at := time.Duration(0); at < 10*time.Second; at += 500 * time.Millisecond {
		show(w.Step(decode.Sample{Signal: decode.ByName("ECT"), Sent: at, Received: at + 20*time.Millisecond, Value: 20}))
		show(w.Step(decode.Sample{Signal: decode.ByName("O2S11"), Sent: at + 50*time.Millisecond, Received: at + 70*time.Millisecond, Value: 0.45}))
	}
	show(w.Finish(10 * time.Second))
	fmt.Println(w.Verdict().Conclusion)
	// Output:
	// not_ready coolant_cold [20]
	// not_ready
}
