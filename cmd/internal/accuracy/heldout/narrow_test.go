package heldout

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

type drawn struct {
	test    *truth.Test
	records []obd.Record
}

// many are the tests that more than one test looks at.
var many = sync.OnceValue(func() (list []drawn) {
	for seed := range uint64(160) {
		test, records := Narrow(seed)
		list = append(list, drawn{test, records})
	}
	return list
})

// values reads a signal off the records, from rows and from exchanges alike.
func values(records []obd.Record, name string, pid byte, from, to float64) (list []float64) {
	for _, r := range records {
		if t := r.At.Seconds(); t < from || t > to {
			continue
		}
		switch {
		case r.Row != nil:
			if i := slices.Index(r.Row.Names, name); i >= 0 {
				list = append(list, r.Row.Values[i])
			}
		case r.Exchange != nil:
			for _, reply := range r.Exchange.Replies {
				for d := reply.Data[1:]; len(d) > 0; {
					s := byPID(d[0])
					if s == nil {
						break
					}
					size := 0
					for _, f := range s.fields {
						size += f.bytes
					}
					if d[0] == pid {
						raw := float64(d[1])
						if s.fields[0].bytes == 2 {
							raw = 256*raw + float64(d[2])
						}
						list = append(list, (raw-s.fields[0].zero)*s.fields[0].lsb)
					}
					d = d[1+size:]
				}
			}
		}
	}
	return list
}

func byPID(pid byte) *signal {
	for _, s := range signals {
		if s.pid == pid {
			return s
		}
	}
	return nil
}

// Of forces that anyone could see on sound cars nearly all show to a plain look: the readings lie close together
// near what was put onto the wire, and trim as told has gone against it.
func TestForcesShow(t *testing.T) {
	shown, n := 0, 0
	for _, d := range many() {
		test, records := d.test, d.records
		if test.Fault != sound || test.Style != styles[0].name {
			continue
		}
		for _, f := range test.Forces {
			if f.Faint {
				continue
			}
			n++
			volts := values(records, "O2S11", 0x14, f.Begin+1.2, f.End-0.2)
			trims := values(records, "SHRTFT1", 0x06, f.Begin-1, f.End)
			if len(volts) < 3 || len(trims) < 3 {
				continue
			}
			slices.Sort(volts)
			tight := volts[len(volts)*9/10]-volts[len(volts)/10] < 0.08
			side := (volts[len(volts)/2] < 0.4) == (f.Side == "lean")
			most := slices.Max(trims) - trims[0]
			if f.Side == "rich" {
				most = trims[0] - slices.Min(trims)
			}
			if tight && side && most >= 1.5 {
				shown++
			}
		}
	}
	if n < 40 || shown < n*85/100 {
		t.Errorf("%d of %d forces show", shown, n)
	}
}

// A wire that is broken behind the tap, or lies at ground, shows nothing of a hold.
func TestDeadInputs(t *testing.T) {
	n := 0
	for seed, d := range many() {
		test, records := d.test, d.records
		if test.Fault != inputOpen && test.Fault != inputShort {
			continue
		}
		n++
		all := values(records, "O2S11", 0x14, 0, 1e9)
		if d := slices.Max(all) - slices.Min(all); d > 0.13 {
			t.Errorf("seed %d, %s: readings differ by %.3f V", seed, test.Fault, d)
		}
		for _, f := range test.Forces {
			if !f.Faint || f.Told != 0 {
				t.Errorf("seed %d: a force on a dead input: %+v", seed, f)
			}
		}
	}
	if n < 5 {
		t.Errorf("%d cars", n)
	}
}

// What the truth holds whatever the car: it says something, never twice, and never what it excludes.
func TestTruth(t *testing.T) {
	fine, all, marked := 0, 0, 0
	for seed, d := range many() {
		test, records := d.test, d.records
		all++
		if test.Fault == sound || test.Fault == leak {
			fine++
			for _, p := range proofs {
				if test.IsFalse(p, "proven") {
					t.Errorf("seed %d: %s of a sound car must not be proven", seed, p)
				}
			}
			for _, c := range []string{"no_delivery", "sensor_dead", "sensor_slow", "no_command"} {
				if test.Outcome(c) != truth.Wrong {
					t.Errorf("seed %d: %s of a sound car is %s", seed, c, test.Outcome(c))
				}
			}
		}
		if test.Marks {
			marked++
		}
		if len(test.Accepted) == 0 || slices.ContainsFunc(test.Undecided, func(c string) bool { return slices.Contains(test.Accepted, c) }) {
			t.Errorf("seed %d: accepted %v, undecided %v", seed, test.Accepted, test.Undecided)
		}
		dead := test.Fault == deadLean || test.Fault == deadRich || test.Fault == deadBias || test.Fault == inputOpen || test.Fault == inputShort || test.Fault == silent
		if dead && test.Outcome("loop_proven") != truth.Wrong {
			t.Errorf("seed %d, %s: loop_proven is %s", seed, test.Fault, test.Outcome("loop_proven"))
		}
		for i, f := range test.Forces {
			if f.End <= f.Begin || f.Told < f.Commanded || f.Told > f.End-f.Begin || i > 0 && f.Begin < test.Forces[i-1].End {
				t.Errorf("seed %d: force %+v", seed, f)
			}
		}
		for i, r := range records {
			one := (r.Exchange != nil) != (r.Row != nil) != (r.Mark != nil)
			if !one || r.Seq != int64(i) || i > 0 && r.At < records[i-1].At || r.At < 0 || r.Sent < 0 {
				t.Fatalf("seed %d: record %d is %+v", seed, i, r)
			}
		}
		if test.Rate < 0.5 || test.Rate > 21 {
			t.Errorf("seed %d: %.2f readings/s", seed, test.Rate)
		}
	}
	if fine < all*40/100 || marked < all*45/100 || marked > all*65/100 {
		t.Errorf("of %d: %d sound, %d with marks", all, fine, marked)
	}
}

// The truth by cars whose ring is laid out by hand.
func TestTruthTable(t *testing.T) {
	proper := []hold{{side: "lean", begin: 20, end: 35, contact: contact{0, 1}, closed: 0.3}, {side: "rich", begin: 65, end: 80, contact: contact{0.9, 60}, closed: 0.3}}
	twice := append(slices.Clone(proper), hold{side: "lean", begin: 110, end: 125, contact: contact{0, 1}}, hold{side: "rich", begin: 155, end: 170, contact: contact{0.9, 60}})
	short := []hold{{side: "lean", begin: 20, end: 22, contact: contact{0, 1}}, {side: "rich", begin: 60, end: 62, contact: contact{0.9, 60}}}
	for _, c := range []struct {
		fault, style string
		holds        []hold
		said         string
		want         truth.Outcome
	}{
		{sound, "proper", proper, "loop_proven", truth.Right},
		{sound, "proper", proper, "unclear", truth.Undecided},
		{sound, "proper", proper, "no_command", truth.Wrong},
		{sound, "one side", proper[:1], "partly_proven", truth.Right},
		{sound, "one side", proper[:1], "loop_proven", truth.Wrong},
		{sound, "short", short, "unclear", truth.Right},
		{sound, "short", short, "sensor_dead", truth.Wrong},
		{silent, "proper", proper, "no_command", truth.Right},
		{silent, "proper", proper, "unclear", truth.Undecided},
		{silent, "one hold", proper[:1], "unclear", truth.Right},
		{silent, "twice", twice, "loop_proven", truth.Wrong},
		{deadLean, "proper", proper, "sensor_dead", truth.Right},
		{deadLean, "proper", proper, "unclear", truth.Right},
		{deadLean, "proper", proper, "partly_proven", truth.Undecided},
		{deadRich, "proper", proper, "sensor_dead", truth.Right},
		{deadRich, "lean only", proper[:1], "no_delivery", truth.Wrong},
		{inputOpen, "proper", proper, "input_dead", truth.Right},
		{inputOpen, "proper", proper, "unclear", truth.Undecided},
		{inputShort, "lean only", proper[:1], "unclear", truth.Right},
		{undelivery, "proper", proper, "no_delivery", truth.Right},
		{undelivery, "proper", proper, "sensor_dead", truth.Wrong},
		{limited, "proper", proper, "no_command", truth.Wrong},
		{limited, "proper", proper, "partly_proven", truth.Right},
		{cold, "proper", proper, "not_ready", truth.Right},
	} {
		test := byHand(c.fault, c.holds)
		if got := test.Outcome(c.said); got != c.want {
			t.Errorf("%s, %s: %s is %s, want %s (accepted %v)", c.fault, c.style, c.said, got, c.want, test.Accepted)
		}
	}
}

// byHand is a plain car at five readings a second with marks.
func byHand(fault string, holds []hold) *truth.Test {
	c := quiet(0.3, law{tick: 0.05, ramp: 2, jump: 1, hi: 25, lo: -25, threshold: 0.45, filter: 0.02})
	c.dt = 0.01
	b := c.banks[0]
	b.path.revs, b.path.film = 3, 0.1
	b.cat.grams = 0.5
	c.spoil(newDice(7, 2), fault)
	hands := &technician{dice: newDice(1, 4), holds: holds, said: true, ends: holds[len(holds)-1].end + 30}
	p := &port{dice: newDice(1, 3), gap: 0.2, rows: true, fast: [][]string{{"volts", "trim"}}, slow: []string{"rpm", "status", "rear"}, every: 1}
	p.voltsEach, p.trimsEach, p.step = 0.02, 0.02, 100.0/128
	return try(1, c, p, hands, fault, true)
}

func TestDeterministic(t *testing.T) {
	for _, draw := range []func(uint64) (*truth.Test, []obd.Record){Narrow, Wide} {
		a, x := draw(5)
		b, y := draw(5)
		if d := cmp.Diff(a, b); d != "" || cmp.Diff(x, y) != "" {
			t.Errorf("two draws of a seed differ: %s", d)
		}
	}
}

// An hour on the road: fuel cuts, their share and length as in recordings (7 to 20 %, 3 s, up to 48 s), and of a sound
// sensor few readings between 0.2 and 0.7 V (9 to 15 % of one).
func TestRoad(t *testing.T) {
	if testing.Short() {
		t.Skip("drives for hours")
	}
	var cut, longest, all, moving float64
	for seed := range uint64(6) {
		c, _ := onTheRoad(seed, drawCar(newDice(seed, 11), 0.02))
		now := 0.0
		c.run(3600, func() {
			all += c.dt
			if c.speed > 6 {
				moving += c.dt
			}
			if c.cut {
				now += c.dt
				cut += c.dt
				longest = max(longest, now)
			} else {
				now = 0
			}
		})
	}
	if share := cut / moving; share < 0.04 || share > 0.25 || longest > 60 || longest < 5 || moving < 0.4*all {
		t.Errorf("fuel cut %.1f %% of driving, longest %.1f s; %.0f %% driven", 100*share, longest, 100*moving/all)
	}
}

// The rear sensor follows trim's fuel behind a catalyst that is used up, and a sound rear rests rich of the step.
func TestRear(t *testing.T) {
	c := quiet(0.3, law{fixed: true, hi: 25, lo: -25, threshold: 0.45})
	c.dt = 0.01
	b := c.banks[0]
	b.cat = catalyst{grams: 0.5, full: 0.6, sharp: 15}
	b.rear = drawCell(newDice(1, 1))
	c.run(5, nil)
	rest := b.behind
	b.short = 20
	at := 0.0
	c.run(60, func() {
		if at == 0 && b.behind > 0.75 {
			at = c.t - 5
		}
	})
	b.short = -20
	c.run(100, nil)
	// 0.3 g of oxygen at 3 g/s of air and 20 %: 2.2 s, and the way.
	if rest < 0.3 || rest > 0.85 || at < 1 || at > 6 || b.behind > 0.2 {
		t.Errorf("rest %.2f V, rich after %.1f s, lean in the end %.2f V", rest, at, b.behind)
	}
	if math.IsNaN(b.behind) {
		t.Error("no number")
	}
}

func BenchmarkNarrow(b *testing.B) {
	for i := range b.N {
		Narrow(uint64(i % 200))
	}
}

func BenchmarkDrive(b *testing.B) {
	for i := range b.N {
		Drive(uint64(i % 20))
	}
}

// Each fault that is drawn says which arcs it breaks, by names that proofs have, and never one both ways.
func TestArcs(t *testing.T) {
	whole := []string{sound, leak, oneWay} // the last breaks one of two
	for _, f := range faults {
		if _, has := narrowArcs[f.name]; !has && !slices.Contains(whole, f.name) {
			t.Errorf("%s breaks nothing", f.name)
		}
	}
	for _, f := range wideFaults {
		if _, has := wideArcs[f.name]; !has && !slices.Contains(whole, f.name) {
			t.Errorf("wide: %s breaks nothing", f.name)
		}
	}
	for _, table := range []map[string]arcs{narrowArcs, wideArcs} {
		for fault, a := range table {
			all := strings.Fields(a.bad + " " + a.open)
			for i, p := range all {
				if !slices.Contains(proofs, p) || slices.Contains(all[:i], p) {
					t.Errorf("%s: %q is no proof, or named twice", fault, p)
				}
			}
		}
	}
}
