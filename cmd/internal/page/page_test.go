package page

import (
	"testing"

	"pushback/obd"
)

func serve(t *testing.T, cfg Config) *Page {
	t.Helper()
	p, err := Serve("local", cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p
}

// allHands makes every button be there.
func allHands() Hands {
	return Hands{Mark: func(obd.Mark) {}, Enter: func() {}, Skip: func() {}, Again: func() {}}
}
