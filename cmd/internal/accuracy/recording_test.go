package accuracy

import (
	"bytes"
	"strings"
	"testing"

	"pushback/cmd/internal/accuracy/fourth"
)

func TestShow(t *testing.T) {
	model := Model{Name: "m"}.recorded(fourth.Narrow, fourth.Drive)
	for _, c := range []struct {
		name       string
		model      Model
		held       bool
		has, fails string
	}{
		{name: "a test", model: model, has: "truth: "},
		{name: "held out", model: model, held: true, fails: "held out"},
		{name: "no recordings", model: Model{Name: "wire"}, fails: "no recordings"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out bytes.Buffer
			c.model.HeldOut = c.held
			err := c.model.Show(&out, 100000, false)
			switch {
			case c.fails != "" && (err == nil || !strings.Contains(err.Error(), c.fails) || out.Len() > 0):
				t.Errorf("printed %d bytes, error %v; want none and an error with %q", out.Len(), err, c.fails)
			case c.fails == "" && (err != nil || !strings.Contains(out.String(), c.has) || !strings.Contains(out.String(), "Conclusion: ")):
				t.Errorf("error %v, printed %q; want %q and a conclusion", err, out.String(), c.has)
			}
		})
	}
}
