package obd_test

import (
	"errors"
	"slices"
	"testing"

	"pushback/obd"
)

// Codes are cleared with every engine known to stand, and only then is service 04 sent.
func TestClearCodes(t *testing.T) {
	for _, tt := range []struct {
		name, speed string
		want        error
	}{
		{"stands", "7E804410C0000000000", nil},
		{"runs", "7E804410C0BB8000000", obd.ErrEngineRuns},
		{"one of two runs", "7E804410C0000000000\r7E904410C0BB8000000", obd.ErrEngineRuns},
		{"not answered", "NO DATA", obd.ErrEngineRuns},
		{"refused", "7E8037F011200000000", obd.ErrEngineRuns},
		{"cut short", "7E804410C00", obd.ErrEngineRuns},
	} {
		a, f := ready(t, map[string]string{"010C": tt.speed, "04": "7E80144000000000000"})
		x, err := a.ClearCodes(t.Context())
		if !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
		sent := slices.Index(f.Lines, "04")
		if (sent >= 0) != (tt.want == nil) {
			t.Errorf("%s: sent %q", tt.name, f.Lines)
		}
		if tt.want != nil {
			continue
		}
		if x.Request.Service != 0x04 || x.Outcome != obd.OK || f.Lines[len(f.Lines)-1] != "0100" {
			t.Errorf("%s: %+v; a return alone would clear again: %q", tt.name, x, f.Lines)
		}
	}
}

// What clears is the car's answer, not the sending.
func TestClearCodesRefused(t *testing.T) {
	a, _ := ready(t, map[string]string{"010C": "7E804410C0000000000", "04": "7E8037F042200000000"})
	if x, err := a.ClearCodes(t.Context()); err != nil || x.Outcome != obd.Refused {
		t.Errorf("%v, %v", x.Outcome, err)
	}
}
