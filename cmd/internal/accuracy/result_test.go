package accuracy

import (
	"math"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
)

// What was said is set beside what was: proofs, forces, and the interval of an answer.
func TestCompare(t *testing.T) {
	known := &truth.Test{Accepted: []string{"partly_proven"}, False: map[string][]string{"sensor_rich": {"failed"}, "input": {"failed"}},
		Forces: []truth.Force{{Side: "lean", Begin: 20, End: 32, Commanded: 0.4, Told: 0.6}, {Side: "rich", Begin: 50, End: 60}, {Side: "lean", Begin: 80, End: 81, Faint: true}}}
	begins := func(t float64, s analysis.Side) analysis.Event {
		return analysis.Event{Name: analysis.ForceBegins, Side: s, T: t}
	}
	ends := func(t float64, s analysis.Side) analysis.Event {
		return analysis.Event{Name: analysis.ForceEnds, Side: s, T: t}
	}
	answers := func(lo, hi float64) analysis.Event {
		return analysis.Event{Name: analysis.LoopAnswers, Side: analysis.Lean, T: 20.5, AfterMin: lo, AfterMax: hi}
	}
	for _, c := range []struct {
		name   string
		events []analysis.Event
		want   Result // Missed, FalseForces, Intervals, Held
	}{
		{"all as it was", []analysis.Event{begins(20.2, analysis.Lean), answers(0.3, 0.5), begins(50, analysis.Rich)}, Result{Intervals: 1, Held: 1}},
		{"said too early", []analysis.Event{begins(20.2, analysis.Lean), answers(0.1, 0.3), begins(50, analysis.Rich)}, Result{Intervals: 1}},
		{"said too late", []analysis.Event{begins(20.2, analysis.Lean), answers(0.7, 0.9), begins(50, analysis.Rich)}, Result{Intervals: 1}},
		{"the other side", []analysis.Event{begins(20.2, analysis.Rich)}, Result{Missed: 2, FalseForces: 1}},
		{"where none was", []analysis.Event{begins(40, analysis.Lean), ends(50, analysis.Lean)}, Result{Missed: 2, FalseForces: 1}},
		{"held on the side, but begun far off", []analysis.Event{begins(20, analysis.Lean), begins(54.5, analysis.Rich)}, Result{Missed: 1, Looked: Looked{Aside: 1}}},
		{"in two", []analysis.Event{begins(20, analysis.Lean), ends(23, analysis.Lean), begins(26, analysis.Lean), ends(32, analysis.Lean), begins(50, analysis.Rich)}, Result{Looked: Looked{Aside: 1}}},
		{"a faint one counts for neither", []analysis.Event{begins(80.5, analysis.Lean)}, Result{Missed: 2}},
	} {
		var r Result
		r.compare(known, session.Result{Events: c.events, End: 60 * time.Second, Verdict: analysis.Verdict{Conclusion: analysis.PartlyProven,
			Proofs: []analysis.Proof{{ID: analysis.ProofInput, State: analysis.Proven}, {ID: analysis.ProofSensorRich, State: analysis.Failed}}}})
		if r.Missed != c.want.Missed || r.FalseForces != c.want.FalseForces || r.Looked.Aside != c.want.Looked.Aside || r.Intervals != c.want.Intervals || r.Held != c.want.Held || r.Forces != 2 {
			t.Errorf("%s: %+v", c.name, r)
		}
		if r.Outcome != truth.Right || r.Decided != 2 || len(r.FalseProofs) != 1 || r.FalseProofs[0] != "sensor_rich=failed" {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

func TestTable(t *testing.T) {
	var b strings.Builder
	table := NewTable(&b)
	table.Row("cars", "1 to 4", []Result{{Outcome: truth.Right, Marked: true, Decided: 4}, {Outcome: truth.Wrong}, {Outcome: truth.Undecided, FalseProofs: []string{"input=failed"}, Decided: 4},
		{Outcome: truth.Broken}, {Hours: 50}, {Hours: 50, FalseForces: 2}})
	if err := table.Close(); err != nil {
		t.Fatal(err)
	}
	// Of three that ended, one wrong: Wilson 6.1 to 79.2; one proof of eight; two forces in 100 h.
	for _, want := range []string{"33.3 (6.1 to 79.2)", "12.5 (2.2 to 47.1)", "2.0 (0.2 to 7.2), of 100 h", "broken off"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// Rows of several drives, each from its own beginning; an empty cell was not read.
func TestReadDrives(t *testing.T) {
	list, err := readDrives(strings.NewReader("session,src_row,t_s,rpm,stft_b1_pct,vss_kmh\na,0,12,900,-1.5,\na,3,14,,2.25,31\nb,0,100,750,0,0\n"))
	if err != nil || len(list) != 2 || list[0].name != "a" || len(list[0].records) != 2 || len(list[1].records) != 1 {
		t.Fatalf("%v, %v", list, err)
	}
	second := list[0].records[1]
	if second.At != 2*time.Second || len(second.Row.Names) != 2 || second.Row.Names[0] != "SHRTFT1" || math.Abs(second.Row.Values[0]-2.25) > 0 {
		t.Errorf("%+v", second.Row)
	}
	if list[1].records[0].At != 0 {
		t.Error("a drive begins at 0")
	}
	if _, err := readDrives(strings.NewReader("a,b\n1,2\n")); err == nil {
		t.Error("a table without t_s was read")
	}
}
