package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
)

// diary writes down what the technician did.
func diary(guided bool) (hands, *[]string) {
	var did []string
	note := func(what string) func() { return func() { did = append(did, what) } }
	h := hands{
		mark: func(m obd.Mark) { did = append(did, strings.TrimSpace(fmt.Sprintf("%s %s", m.Kind, m.Text))) },
		stop: note("stop"),
		say:  func(string) { did = append(did, "said") },
	}
	if guided {
		h.enter, h.skip, h.again = note("enter"), note("skip"), note("again")
	}
	return h, &did
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
		{"\nnext\nskip\nrepeat\n", true, []string{"enter", "enter", "skip", "again"}},
		{"stop", false, []string{"stop"}}, // the last line without its end
	} {
		h, did := diary(tt.guided)
		lines(strings.NewReader(tt.in), h)
		if d := cmp.Diff(tt.want, *did); d != "" {
			t.Errorf("%q: %s", tt.in, d)
		}
	}
}

func TestKeys(t *testing.T) {
	h, did := diary(true)
	keys(strings.NewReader("lR \nsbnhose off\nxq"), h)
	want := []string{"lean", "rich", "release", "enter", "skip", "again", "said", "note hose off", "stop"}
	if d := cmp.Diff(want, *did); d != "" {
		t.Error(d)
	}
}
