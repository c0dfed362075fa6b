package main

import (
	"os"
	"testing"
	"testing/synctest"
	"time"
)

// A second signal ends the program, but not where it comes with the first.
func TestHeed(t *testing.T) {
	for _, c := range []struct {
		name string
		at   []time.Duration
		quit bool
	}{
		{"one", []time.Duration{0}, false},
		{"twice at once", []time.Duration{0, time.Millisecond}, false},
		{"again later", []time.Duration{0, 3 * time.Second}, true},
		{"twice at once, again later", []time.Duration{0, 0, 3 * time.Second}, true},
	} {
		synctest.Test(t, func(t *testing.T) {
			signals := make(chan os.Signal, 2)
			ended, quit := false, false
			go heed(signals, func() { ended = true }, func() { quit = true })
			for _, at := range c.at {
				time.Sleep(at)
				signals <- os.Interrupt
				synctest.Wait()
			}
			if !ended || quit != c.quit {
				t.Errorf("%s: ended %v, quit %v", c.name, ended, quit)
			}
			if !quit { // let the goroutine go
				time.Sleep(2 * time.Second)
				signals <- os.Interrupt
				synctest.Wait()
			}
		})
	}
}
