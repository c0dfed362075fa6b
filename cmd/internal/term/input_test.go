package term

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/cmd/internal/live"
	"pushback/obd"
)

// diary writes down what the technician did.
func diary(guided bool) (c live.Controls, say func(string), did *[]string) {
	did = new([]string)
	note := func(what string) func() { return func() { *did = append(*did, what) } }
	c = live.Controls{
		Mark: func(m obd.Mark) { *did = append(*did, strings.TrimSpace(fmt.Sprintf("%s %s", m.Kind, m.Text))) },
		Stop: note("stop"),
	}
	if guided {
		c.Enter, c.Skip, c.Again = note("enter"), note("skip"), note("again")
	}
	return c, func(string) { *did = append(*did, "said") }, did
}

func TestLines(t *testing.T) {
	for _, tt := range []struct {
		in     string
		guided bool
		want   []string
	}{
		{"mark lean\nmark rich\nmark release\nstop\n", false, []string{"lean", "rich", "release", "stop"}},
		{"  mark  lean  \r\nnote  hose off, 2 cm  \n", false, []string{"lean", "note hose off, 2 cm"}},
		{"mark\nmark up\nnote\nlean\nskip\n", false, []string{"said", "said", "said", "said", "said"}},
		{"\n", false, nil},
		{"tap\n", false, []string{"said"}},
		{strings.Repeat("x", 100_000) + "\nstop\n", true, []string{"said", "stop"}},
		{"\nnext\nskip\nrepeat\n", true, []string{"enter", "enter", "skip", "again"}},
		{"stop", false, []string{"stop"}}, // the last line without its end
	} {
		c, say, did := diary(tt.guided)
		lines(strings.NewReader(tt.in), c, say)
		if d := cmp.Diff(tt.want, *did); d != "" {
			t.Errorf("%q: %s", tt.in, d)
		}
	}
}

func TestKeys(t *testing.T) {
	c, say, did := diary(true)
	keys(strings.NewReader("lR \nsbnhose off\nxq"), c, say)
	want := []string{"lean", "rich", "release", "enter", "skip", "again", "said", "note hose off", "stop"}
	if d := cmp.Diff(want, *did); d != "" {
		t.Error(d)
	}
}
