package accuracy

import (
	"math"
	"testing"

	"pushback/cmd/internal/accuracy/heldout"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/cmd/internal/accuracy/unseenwide"
	"pushback/decode"
	"pushback/obd"
)

// What a held-out car says is what the decoder reads: names that it knows, values within their range, no damaged reply. Seeds
// below 1000 serve no figure; nothing is judged here.
func TestHeldOutDecodes(t *testing.T) {
	exchanges, rows := 0, 0
	for seed := range uint64(40) {
		for _, draw := range []func(uint64) (*truth.Test, []obd.Record){heldout.Narrow, heldout.Wide, unseenwide.Wide} {
			var d decode.Decoder
			var samples []decode.Sample
			_, records := draw(seed)
			for _, r := range records {
				switch {
				case r.Exchange != nil:
					exchanges++
					for _, reply := range r.Exchange.Replies {
						var err error
						samples, err = d.Reply(reply.From, r.Exchange.Request.Bytes(), reply.Data, r.Sent, r.At, samples[:0])
						if err != nil {
							t.Fatalf("seed %d: % X to %s: %v", seed, reply.Data, r.Exchange.Request.Hex(), err)
						}
						for _, s := range samples {
							if s.Missing && s.Signal.Name != "SHRTFT12" { // FF: not used for trim
								t.Fatalf("seed %d: %s is missing in % X", seed, s.Signal.Name, reply.Data)
							}
							plausible(t, seed, s.Signal.Name, s.Value)
						}
					}
				case r.Row != nil:
					rows++
					for i, name := range r.Row.Names {
						s := decode.ByName(name)
						if s == nil {
							t.Fatalf("seed %d: no signal %s", seed, name)
						}
						if v := (r.Row.Values[i] - s.Min) / s.Resolution; math.Abs(v-math.Round(v)) > 1e-3 || r.Row.Values[i] < s.Min || r.Row.Values[i] > s.Max {
							t.Fatalf("seed %d: %s of %v is no count", seed, name, r.Row.Values[i])
						}
						plausible(t, seed, name, r.Row.Values[i])
					}
				}
			}
		}
	}
	if exchanges < 1000 || rows < 1000 {
		t.Errorf("%d exchanges, %d rows", exchanges, rows)
	}
}

// plausible holds values of an engine that idles or pulls a car to what such an engine can have.
func plausible(t *testing.T, seed uint64, name string, v float64) {
	t.Helper()
	for _, c := range []struct {
		name   string
		lo, hi float64
	}{
		{"O2S11", 0, 1.28}, {"SHRTFT1", -51, 51}, {"SHRTFT11", -51, 51}, {"RPM", 450, 4000}, {"ECT", 4, 101}, {"LOAD_PCT", 3, 100}, {"MAF", 0.5, 60},
		{"FUELSYS1", 1, 16}, {"EQ_RAT11", 0.6, 2}, {"EQ_RAT", 0.85, 2}, {"O2S11_WIDE_MA", -2.1, 1.2}, {"LONGFT1", -40, 40}, {"O2S12", 0, 1.28}, {"VSS", 0, 120},
	} {
		if name == c.name && (v < c.lo || v > c.hi) {
			t.Fatalf("seed %d: %s is %v", seed, name, v)
		}
	}
}
