package simcar

import (
	"testing"
	"time"
)

func TestParseForce(t *testing.T) {
	const s = time.Second
	for _, c := range []struct {
		in   string
		want Force
		ok   bool
	}{
		{"lean@20s+12s", Force{Kind: ForceLean, At: 20 * s, For: 12 * s}, true},
		{"rich@45s+12s:0.9V,600ohm", Force{Kind: ForceRich, At: 45 * s, For: 12 * s, Volts: 0.9, Ohms: 600}, true},
		{"propane@20s+15s", Force{Kind: ForcePropane, At: 20 * s, For: 15 * s}, true},
		{"vacuum@1m+15s:20%", Force{Kind: ForceVacuum, At: 60 * s, For: 15 * s, Percent: 20}, true},
		{"lean@0s:shaky,5ohm", Force{Kind: ForceLean, Shaky: true, Ohms: 5}, true},
		{"", Force{}, false},
		{"lean", Force{}, false},
		{"lean@20", Force{}, false},
		{"lean@20s+", Force{}, false},
		{"lean@20s+0s", Force{}, false},
		{"lean@-1s+5s", Force{}, false},
		{"lean@20s+-5s", Force{}, false},
		{"wobble@20s+12s", Force{}, false},
		{"lean@20s+12s:", Force{}, false},
		{"lean@20s+12s:0.9V", Force{}, false}, // ground has no voltage
		{"rich@20s+12s:12V", Force{}, false},  // never battery on the signal wire
		{"rich@20s+12s:NaNV", Force{}, false},
		{"rich@20s+12s:-1ohm", Force{}, false},
		{"rich@20s+12s:5%", Force{}, false},
		{"propane@20s+12s:0.9V", Force{}, false},
		{"lean@9999999h", Force{}, false},
	} {
		got, err := ParseForce(c.in)
		if (err == nil) != c.ok || got != c.want {
			t.Errorf("ParseForce(%q) = %+v, %v", c.in, got, err)
		}
	}
}

func FuzzParseForce(f *testing.F) {
	for _, s := range []string{"lean@20s+12s", "rich@45s+12s:0.9V,600ohm", "propane@20s+15s:12%", "vacuum@1h", "lean@0s:shaky", "@", "rich@1s+1s:InfV"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseForce(s)
		if err != nil {
			if got != (Force{}) {
				t.Errorf("%q: an error and %+v", s, got)
			}
			return
		}
		if err := got.Validate(); err != nil {
			t.Errorf("%q parsed to what is not valid: %v", s, err)
		}
	})
}

func TestAnswerTruth(t *testing.T) {
	s, err := New(Config{Car: healthy(), Seed: 4, Trace: 10 * time.Millisecond,
		Forces: []Force{{Kind: ForceLean, At: 10 * time.Second, For: 10 * time.Second}}})
	if err != nil {
		t.Fatal(err)
	}
	s.Clock().Sleep(t.Context(), 25*time.Second)
	truth := s.Truth()
	f := truth.Forces[0]
	if f.Begin != 10*time.Second || f.End != 20*time.Second {
		t.Errorf("force from %v to %v", f.Begin, f.End)
	}
	// From Answer to the end trim must not fall, and just before it must not have risen
	// while the force lasted.
	last := -100.0
	for _, p := range truth.Trace {
		if p.At > f.Answer && p.At < f.End {
			if p.STFT[0] < last {
				t.Fatalf("trim fell at %v", p.At)
			}
			last = p.STFT[0]
		}
	}
	if f.Answer < f.Begin || f.Answer > f.Begin+50*time.Millisecond {
		t.Errorf("answered at %v", f.Answer)
	}
}
