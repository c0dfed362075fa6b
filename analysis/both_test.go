package analysis

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pushback/analysis/reason"
	"pushback/decode"
)

// both joins two watchers, of bank 1 and of bank 2, whose readings were held at these times, s; of each time a lean force of 15 s.
func both(begins [2][]float64, answers bool) *Both {
	var banks [2]*Watcher
	for i := range banks {
		banks[i] = NewWatcher(Config{Sensor: decode.SensorID{Bank: i + 1, Position: 1}})
		for _, at := range begins[i] {
			f := &force{side: Lean, bank: i + 1, seen: true, madeWhen: madeWhen{begin: at, end: at + 15, ended: true}}
			if answers {
				f.own = answer{state: answered, up: 1, n: 30, course: course{now: 12, top: 12}}
			}
			banks[i].forces = append(banks[i].forces, f)
		}
	}
	return Join(banks[0], banks[1])
}

// The wire that is asked for first must be the one that is read first: 5 s apart is asked for, and 2 s tell them apart.
func TestOrderOfBothWires(t *testing.T) {
	for _, c := range []struct {
		name   string
		begins [2][]float64
		want   int
	}{
		{"in order", [2][]float64{{21}, {26}}, +1},
		{"crossed", [2][]float64{{26}, {21}}, -1},
		{"2 s apart", [2][]float64{{21}, {23}}, +1},
		{"too close to tell", [2][]float64{{21}, {22.5}}, 0},
		{"the first alone, before the second was asked for", [2][]float64{{21}, nil}, +1},
		{"the second's alone, before it was asked for", [2][]float64{nil, {21}}, -1},
		{"the first alone, after the second was asked for", [2][]float64{{26}, nil}, 0},
		{"the second's alone, when it was asked for", [2][]float64{nil, {26}}, 0},
		{"the second's alone, its own swing before it", [2][]float64{nil, {24.5}}, 0},
		{"neither", [2][]float64{nil, nil}, 0},
		{"held long before", [2][]float64{{5}, {26}}, 0},
		{"held after hands off", [2][]float64{{50}, {55}}, 0},
	} {
		for first := range 2 { // the wire of either bank may be asked for first
			begins := c.begins
			if first == 1 {
				begins[0], begins[1] = begins[1], begins[0]
			}
			b := both(begins, true)
			b.Asked(20, first, Lean)
			b.Asked(25, 1-first, Lean)
			b.Asked(26, first, Lean) // the step that holds both names it again
			b.Asked(45, first, "")
			b.Asked(46, 1-first, "")
			if len(b.passes) != 1 || b.passes[0].end != 45 {
				t.Fatalf("%s: passes %+v", c.name, b.passes)
			}
			if got, _ := b.order(b.passes[0]); got != c.want {
				t.Errorf("%s, bank %d first: %d, want %d", c.name, first+1, got, c.want)
			}
			held := c.begins[0] != nil && c.begins[1] != nil && c.begins[1][0] >= c.begins[0][0] && c.begins[1][0] < c.begins[0][0]+15
			if w := b.banks[1-first]; len(w.forces) > 0 && w.heldBeside(w.forces[0], w.forces[0].begin) != held {
				t.Errorf("%s: bank %d is held already: %v", c.name, first+1, !held)
			}
		}
	}
	b := both([2][]float64{nil, {26}}, true)
	b.Asked(20, 1, Lean) // and nobody came to bank 1's
	if got, _ := b.order(b.passes[0]); got != +1 {
		t.Errorf("bank 2 alone was asked for and read: %d", got)
	}
	b = both([2][]float64{}, true)
	b.Asked(20, 0, Lean) // and nobody came at all
	if got, _ := b.order(b.passes[0]); got != 0 {
		t.Errorf("nothing was read, and the order is %d", got)
	}
	b = both([2][]float64{{21}, {22}}, true)
	b.banks[0].forces[0].side = Rich // who takes the other side at one wire has taken it all the same
	b.Asked(20, 0, Lean)
	b.Asked(26, 1, Lean)
	if got, _ := b.order(b.passes[0]); got != 0 {
		t.Errorf("bank 1's was held on the other side, a second before bank 2's: %d", got)
	}
	alone := NewWatcher(Config{})
	if alone.heldBeside(&force{}, 0) {
		t.Error("one wire is held beside itself")
	}
}

// One side after the other is two passes.
func TestPassesOfBothWires(t *testing.T) {
	b := both([2][]float64{}, false)
	b.Asked(5, 0, "") // hands off before anything
	b.Asked(20, 0, Lean)
	b.Asked(25, 1, Lean)
	b.Asked(40, 0, "")
	b.Asked(50, 1, Rich)
	b.Asked(80, 0, Lean)
	b.Asked(90, 1, Rich) // the first wire was held on that side, which is asked for then
	if n := len(b.passes); n != 4 {
		t.Fatalf("%d passes", n)
	}
	for i, want := range []struct {
		side         Side
		first, other float64
		end          float64
	}{{Lean, 20, 25, 40}, {Rich, math.NaN(), 50, 80}, {Lean, 80, math.NaN(), 90}, {Rich, math.NaN(), 90, math.Inf(1)}} {
		p := b.passes[i]
		same := func(x, y float64) bool { return x == y || math.IsNaN(x) && math.IsNaN(y) }
		if p.side != want.side || !same(p.asked[0], want.first) || !same(p.asked[1], want.other) || p.end != want.end {
			t.Errorf("pass %d: %+v, want %+v", i, p, want)
		}
	}
}

// A wire that was taken in its own order once is not crossed, and proven once its bank answers; the banks' verdicts agree.
func TestBankOfBothWires(t *testing.T) {
	for _, c := range []struct {
		name    string
		begins  [2][]float64
		answers bool
		want    State
		why     reason.Code
	}{
		{"in order, and each bank answers", [2][]float64{{21}, {26}}, true, Proven, reason.BankInOrder},
		{"in order, no answer yet", [2][]float64{{21}, {26}}, false, Untested, reason.NoTrimAnswered},
		{"crossed", [2][]float64{{26}, {21}}, true, Failed, reason.OtherInOrder},
		{"crossed at lean, in order at the next: hands took the wrong one once", [2][]float64{{26, 121}, {21, 126}}, true, Proven, reason.BankInOrder},
		{"at once", [2][]float64{{21}, {21}}, true, Unclear, reason.OrderNotTold},
		{"nothing was held", [2][]float64{nil, nil}, false, Untested, reason.NoTrimAnswered},
	} {
		b := both(c.begins, c.answers)
		for _, from := range []float64{20, 120} {
			b.Asked(from, 0, Lean)
			b.Asked(from+5, 1, Lean)
			b.Asked(from+25, 0, "")
		}
		for i, w := range b.banks {
			a := &assessment{w: w, forces: w.forces}
			if got := a.bankOfBoth(); got.State != c.want || !got.Why.Has(c.why) {
				t.Errorf("%s, bank %d: %s, %v", c.name, i+1, got.State, got.Why)
			}
		}
	}
	b := both([2][]float64{{21}, {26}}, true)
	b.Asked(20, 0, Lean)
	b.Asked(25, 1, Lean)
	b.banks[0].forces[0].emittedOther, b.banks[0].forces[0].other.onset = true, 22
	if a := (&assessment{w: b.banks[0], forces: b.banks[0].forces}); a.bankOfBoth().State != Failed {
		t.Error("the other bank's trim answered, and the bank is not failed")
	}
	b.banks[0].forces[0].other.onset = 25 // as its own wire was taken, which was seen a while later
	if a := (&assessment{w: b.banks[0], forces: b.banks[0].forces}); a.bankOfBoth().State != Proven {
		t.Error("the other bank's trim answered its own wire, and the bank is not proven")
	}
	for logOdds, want := range map[float64]State{2: Proven, -2: Failed} { // or as it was taken before, perhaps, for too short to be called that
		b.banks[0].forces[0].other.onset = 22
		b.banks[1].passedOver = []Weighed{{Side: Lean, Begin: 23, End: 24.5, LogOdds: logOdds, Bank: 2}}
		if a := (&assessment{w: b.banks[0], forces: b.banks[0].forces}); a.bankOfBoth().State != want {
			t.Errorf("the other wire was held before by log odds of %.0f, and the bank is not %s", logOdds, want)
		}
	}
}

// Of two verdicts the one that finds a fault, or decides less, stands first; by sensor they are in the order of the banks.
func TestJoined(t *testing.T) {
	of := func(sensor string, c Conclusion) Verdict { return Verdict{Sensor: sensor, Conclusion: c} }
	order := []Conclusion{WrongBank, SensorDead, ConclusionUnclear, ConclusionNotReady, NothingForced, PartlyProven, LoopProven}
	for i, x := range order {
		for j, y := range order {
			v := Joined(of("B1S1", x), of("B2S1", y))
			if first, want := v.Conclusion, order[min(i, j)]; first != want {
				t.Errorf("%s and %s: %s stands first", x, y, first)
			}
			if i == j && v.Sensor != "B1S1" {
				t.Errorf("twice %s: %s stands first", x, v.Sensor)
			}
			if banks := v.Banks(); len(banks) != 2 || banks[0].Conclusion != x || banks[1].Conclusion != y || banks[0].Beside != nil || banks[1].Beside != nil {
				t.Errorf("%s and %s: by bank %+v", x, y, banks)
			}
			if a, b := v.Of("B1S1"), v.Of("B2S1"); a.Conclusion != x || b.Conclusion != y || a.Beside != nil || b.Beside != nil {
				t.Errorf("%s and %s: of bank 1 %s, of bank 2 %s", x, y, a.Conclusion, b.Conclusion)
			}
			if v.Of("").Conclusion != v.Conclusion {
				t.Errorf("%s and %s: of no sensor in particular %s", x, y, v.Of("").Conclusion)
			}
		}
	}
	if one := of("", LoopProven); len(one.Banks()) != 1 || one.Of("B1S1").Conclusion != LoopProven {
		t.Error("a verdict on one sensor is that sensor's")
	}
}

// What the JSON of a verdict holds, and two that agree.
func TestVerdictJSONAndAgrees(t *testing.T) {
	p := []Proof{{ID: ProofInput, State: Proven, Evidence: map[string]float64{"share": 0.9}}}
	v := Verdict{Conclusion: PartlyProven, Proofs: p, Decide: LeakCheck}
	for _, c := range []struct {
		verdict      Verdict
		holds, lacks string
	}{
		{Verdict{Conclusion: NothingForced}, `"proofs":[],"next":[]`, "decide"},
		{v, `"decide":"leak_check"`, "beside"},
		{Joined(of2(v, "B1S1"), of2(v, "B2S1")), `"sensor":"B1S1"`, "null"},
		{Joined(of2(v, "B1S1"), of2(v, "B2S1")), `"beside":{"kind":"verdict","conclusion":"partly_proven","decide":"leak_check","sensor":"B2S1"`, "null"},
	} {
		b, err := json.Marshal(c.verdict)
		if text := string(b); err != nil || !strings.HasPrefix(text, `{"kind":"verdict","conclusion":"`) || !strings.Contains(text, c.holds) || strings.Contains(text, c.lacks) {
			t.Errorf("%s, %v; %s is to be there, %s is not", text, err, c.holds, c.lacks)
		}
	}
	for _, c := range []struct {
		name   string
		change func(*Verdict)
		want   bool
	}{
		{"the same", func(*Verdict) {}, true},
		{"other figures", func(v *Verdict) { v.Proofs = []Proof{{ID: ProofInput, State: Proven}} }, true},
		{"another state", func(v *Verdict) { v.Proofs = []Proof{{ID: ProofInput, State: Unclear}} }, false},
		{"another arc", func(v *Verdict) { v.Proofs = []Proof{{ID: ProofBank, State: Proven}} }, false},
		{"one arc less", func(v *Verdict) { v.Proofs = nil }, false},
		{"another conclusion", func(v *Verdict) { v.Conclusion = LoopProven }, false},
	} {
		other := v
		c.change(&other)
		if v.Agrees(other) != c.want || other.Agrees(v) != c.want {
			t.Errorf("%s: agree %v", c.name, !c.want)
		}
	}
}

func of2(v Verdict, sensor string) Verdict {
	v.Sensor = sensor
	return v
}
