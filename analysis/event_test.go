package analysis

import (
	"encoding/json"
	"reflect"
	"testing"

	"pushback/analysis/reason"
)

// Lines as the contract with other programs has them; each must come back as it was.
func TestEventInJSON(t *testing.T) {
	for _, tt := range []struct {
		e    Event
		line string
	}{
		{Event{T: 3, Name: Ready, Reasons: []reason.Reason{}}, `{"kind":"event","t":3,"event":"ready","reasons":[]}`},
		{Event{T: 3, Name: NotReady, Reasons: []reason.Reason{reason.Told.Of("cold")}}, `{"kind":"event","t":3,"event":"not_ready","reasons":["cold"]}`},
		{Event{T: 25.25, Name: ForceBegins, Side: Lean}, `{"kind":"event","t":25.25,"event":"force_begins","side":"lean"}`},
		{Event{T: 26, Name: LoopAnswers, Side: Rich, Toward: "cut", After: 0.8, AfterMin: 0.6, AfterMax: 1.1, Rate: 2.5},
			`{"kind":"event","t":26,"event":"loop_answers","side":"rich","toward":"cut","after_s":0.8,"after_min_s":0.6,"after_max_s":1.1,"rate_pct_s":2.5}`},
		{Event{T: 40, Name: LoopSilent, Side: Lean, Waited: 14, Moved: -0.781}, `{"kind":"event","t":40,"event":"loop_silent","side":"lean","waited_s":14,"moved_pct":-0.781}`},
		{Event{T: 40, Name: LoopWrongWay, Side: Lean, Toward: "cut"}, `{"kind":"event","t":40,"event":"loop_wrong_way","side":"lean","toward":"cut"}`},
		{Event{T: 41, Name: TrimAtLimit, Value: 25}, `{"kind":"event","t":41,"event":"trim_at_limit","value_pct":25}`},
		{Event{T: 42, Name: ForceEnds, Side: Lean}, `{"kind":"event","t":42,"event":"force_ends","side":"lean"}`},
		{Event{T: 43, Name: SensorAnswers, Toward: "rich", After: 0.4}, `{"kind":"event","t":43,"event":"sensor_answers","toward":"rich","after_s":0.4}`},
		{Event{T: 43, Name: SensorSilent, Toward: "rich", Waited: 4}, `{"kind":"event","t":43,"event":"sensor_silent","toward":"rich","waited_s":4}`},
		{Event{T: 50, Name: SwitchingResumes, After: 6.5}, `{"kind":"event","t":50,"event":"switching_resumes","after_s":6.5}`},
		{Event{T: 51, Name: OpenLoop, Status: reason.Told.Of("open")}, `{"kind":"event","t":51,"event":"open_loop","status":"open"}`},
		{Event{T: 52, Name: OtherBankAnswers, Bank: 2}, `{"kind":"event","t":52,"event":"other_bank_answers","bank":2}`},
		{Event{T: 53, Name: GapSeen, From: 53, To: 58.5, Cause: "link lost"}, `{"kind":"event","t":53,"event":"gap","from_s":53,"to_s":58.5,"cause":"link lost"}`},
		{Event{T: 60, Name: CodeSet, Code: "P0171", Pending: true}, `{"kind":"event","t":60,"event":"code_set","code":"P0171","pending":true}`},
	} {
		line, err := json.Marshal(tt.e)
		if err != nil || string(line) != tt.line {
			t.Errorf("wrote %s, want %s: %v", line, tt.line, err)
		}
		var back Event
		if err := json.Unmarshal([]byte(tt.line), &back); err != nil || !reflect.DeepEqual(back, tt.e) {
			t.Errorf("%s: read %+v, want %+v: %v", tt.line, back, tt.e, err)
		}
	}
}

// What is read from a line once is written the same ever after.
func FuzzEvent(f *testing.F) {
	f.Add([]byte(`{"kind":"event","t":26,"event":"loop_answers","side":"rich","after_s":0.8,"rate_pct_s":2.5}`))
	f.Add([]byte(`{"t":1e308,"event":"not_ready","reasons":[null,"x"]}`))
	f.Add([]byte(`{"event":"gap","from_s":-0}`))
	f.Fuzz(func(t *testing.T, line []byte) {
		var e Event
		if json.Unmarshal(line, &e) != nil {
			return
		}
		first, err := json.Marshal(e)
		if err != nil {
			t.Fatalf("%s was read and cannot be written: %v", line, err)
		}
		var again Event
		if err := json.Unmarshal(first, &again); err != nil {
			t.Fatalf("%s cannot be read back: %v", first, err)
		}
		if second, err := json.Marshal(again); err != nil || string(second) != string(first) {
			t.Fatalf("%s became %s: %v", first, second, err)
		}
	})
}
