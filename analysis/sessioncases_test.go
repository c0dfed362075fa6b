package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pushback/analysis/scripttest"
	"pushback/decode"
)

// cycling is the script of a sensor that is lean and rich in turn, about a second each, read five times a second, from one second to
// before another.
func cycling(from, to float64) string {
	var out []string
	for i, at := 0, from; at < to-1e-9; i, at = i+1, at+1 {
		out = append(out, fmt.Sprintf("%gs..%gs/200ms %s", at, at+0.8, []string{"0.12->0.08", "0.8->0.86"}[i%2]))
	}
	return strings.Join(out, "; ")
}

// quick is the script of a sensor that goes between 0.14 and 0.6 V and back in less than two seconds, read ten times a second.
func quick(from, to float64) string {
	var out []string
	for i, at := 0, from; at < to-1e-9; i, at = i+1, at+0.9 {
		out = append(out, fmt.Sprintf("%gs..%gs/100ms %s", at, at+0.8, []string{"0.2->0.6", "0.54->0.14"}[i%2]))
	}
	return strings.Join(out, "; ")
}

// hunting is the script of a trim that goes up and down with it, about nothing.
func hunting(from, to float64) string { return huntingAbout(0, from, to) }

func huntingAbout(mid, from, to float64) string {
	var out []string
	for i, at := 0, from; at < to-1e-9; i, at = i+1, at+1 {
		goes := 1.6 - 3.2*float64(i%2)
		out = append(out, fmt.Sprintf("%gs..%gs/200ms %g->%g", at+0.1, at+0.9, mid-goes, mid+goes))
	}
	return strings.Join(out, "; ")
}

// cyclesOf is the script of two parts in turn, of so many seconds each.
func cyclesOf(one, other string, from, to, each float64) string {
	var out []string
	for i, at := 0, from; at < to-1e-9; i, at = i+1, at+each {
		out = append(out, fmt.Sprintf([]string{one, other}[i%2], at+0.1, at+each-0.1))
	}
	return strings.Join(out, "; ")
}

// playSession gives a watcher what scripts tell (see [scripttest.Merge]), and returns what it told and itself. Turned over, lean is
// rich and what trim adds it cuts.
func playSession(t *testing.T, cfg Config, turn bool, scripts ...string) ([]scripttest.Event, *Watcher) {
	t.Helper()
	w := NewWatcher(cfg)
	var out []scripttest.Event
	take := func(events []Event) {
		for _, e := range events {
			out = append(out, scripttest.Event{Name: string(e.Name), T: e.T})
		}
	}
	all := scripttest.Merge(t, scripts...)
	for _, s := range all {
		side := Side(s.Words)
		if turn {
			side = side.Opposite()
		}
		switch v, trim := s.Value, strings.HasPrefix(s.Name, "SHRTFT"); {
		case strings.HasPrefix(s.Words, "asked for "):
			side := Side(strings.TrimPrefix(s.Words, "asked for "))
			switch {
			case side == "none":
				side = ""
			case turn:
				side = side.Opposite()
			}
			take(w.Asked(s.At, side, false))
		case s.Words == "release":
			take(w.Release(s.At))
		case s.Words != "":
			take(w.Mark(s.At, side))
		default:
			if turn && strings.HasPrefix(s.Name, "O2S") {
				v = 0.94 - v
			} else if turn && trim {
				v = -v
			}
			if trim {
				v = math.Round(v*1.28) / 1.28 // in the standard's counts
			}
			take(w.Step(decode.Sample{Signal: decode.ByName(s.Name), Sent: s.At, Received: s.At, Value: v}))
		}
	}
	take(w.Finish(all[len(all)-1].At))
	return out, w
}

// Whole sessions in text, and what is told of them: the times are those of the scripts, by hand. Each holds turned over too, lean for
// rich, but where air and fuel differ.
func TestSessionsInText(t *testing.T) {
	const warm = "ECT 0s..120s/5s 90"
	const turning = "RPM 0s..120s/2s 800"
	const closed = "FUELSYS1 0s..120s/2s 2"
	volts := func(held string) string {
		return "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; " + held
	}
	back := "55s..59.8s/200ms 0.86->0.9; " + cycling(60, 100)
	trims := func(mid string) string { return "SHRTFT1 " + hunting(0, 40) + "; " + mid + "; " + hunting(61, 100) }
	adds := trims("40.1s..54.9s/200ms 0->22; 55.1s..60.9s/200ms 22->0")
	for _, c := range []struct {
		name    string
		scripts []string
		want    string
		wantEnd map[ProofID]State
	}{
		{"nobody touches it", []string{warm, turning, closed, "O2S11 " + cycling(0, 60), "SHRTFT1 " + hunting(0, 60)}, "ready 2", nil},
		{"a sound loop", []string{warm, turning, closed, volts(back), adds, "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_answers 40, force_ends 55, sensor_answers 55, switching_resumes 61",
			map[ProofID]State{ProofInput: Proven, ProofAddsFuel: Proven, ProofSensorRich: Proven, ProofRecovery: Proven}},
		{"trim stands", []string{warm, turning, closed, volts(cycling(55, 100)), trims("40.1s..60.9s/200ms 0"), "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_silent 48, force_ends 55, switching_resumes 56",
			map[ProofID]State{ProofInput: Proven, ProofSensorRich: Untested}},
		{"trim goes with the force", []string{warm, turning, closed, volts(cycling(55, 100)), trims("40.1s..54.9s/200ms 0->-20; 55.1s..60.9s/200ms -20->0"), "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_wrong_way 45.5, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Failed}},
		{"the loop opens", []string{warm, turning, "FUELSYS1 0s..44s/2s 2; 46s..62s/2s 1; 64s..120s/2s 2", volts(back), trims("40.1s..60.9s/200ms 0"), "says 40s lean; 55s release"},
			"ready 2, force_begins 40, open_loop 46, force_ends 55, not_ready 58, switching_resumes 61, ready 66", map[ProofID]State{ProofInput: Proven, ProofAddsFuel: Unclear}},
		{"the computer lets go of the sensor, which lies where it was held", []string{warm, turning, "FUELSYS1 0s..44s/2s 2; 46s..74s/2s 16; 76s..120s/2s 2",
			"O2S11 " + cycling(0, 40) + "; 40s..75s/200ms 0.03; " + cycling(75.2, 100), "SHRTFT1 " + huntingAbout(8, 0, 40) + "; 40.1s..46s/200ms 8; 46.2s..54s/200ms 8->2; 54.2s..75s/200ms 2; " + huntingAbout(8, 76, 100),
			"says 40s lean; 55s release"},
			"ready 2, force_begins 40, computer_lets_go 46, force_ends 55, switching_resumes 76", map[ProofID]State{ProofInput: Proven, ProofAddsFuel: Unclear}},
		{"trim jumps to zero when a loop turns late, and goes on", []string{warm, turning, closed, volts(cycling(55, 100)), "SHRTFT1 0s..38s/200ms -6.25; 38.2s..41.9s/200ms -6.25->-7; 42.1s..45s/200ms 0; 45.1s..54.9s/200ms 0->3; 55.1s..100s/200ms -6.25", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_answers 42, trim_at_limit 42, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Proven}},
		{"it jumps to zero and stays there", []string{warm, turning, closed, volts(cycling(55, 100)), "SHRTFT1 0s..38s/200ms -6.25; 38.2s..41.9s/200ms -6.25->-7; 42.1s..54.9s/200ms 0; 55.1s..100s/200ms -6.25", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_answers 42, trim_at_limit 42, computer_lets_go 50, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Unclear}},
		{"it jumps to zero, where it turns by itself, and stays there", []string{warm, turning, closed, volts(cycling(55, 100)), "SHRTFT1 " + cyclesOf("%gs..%gs/200ms -4.7->0", "%gs..%gs/200ms 0->-4.7", 0, 40, 4) + "; 40.2s..54.9s/200ms 0; 55.1s..100s/200ms -4.7", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Failed}},
		{"it goes where it is asked to, then jumps to zero, as it does when it turns by itself", []string{warm, turning, closed, volts(cycling(55, 100)), "SHRTFT1 " + cyclesOf("%gs..%gs/200ms 6.25", "%gs..%gs/200ms -0.8", 0, 40, 2) + "; 40.2s..43.2s/200ms 6.25; 43.4s..54.9s/200ms 0; 55.1s..100s/200ms 0", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, computer_lets_go 43.4, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Unclear}},
		{"it answers, then jumps back to zero", []string{warm, turning, closed, volts(cycling(55, 100)), "SHRTFT1 0s..40s/200ms 0; 40.2s..44.5s/200ms 0->6; 44.7s..54.9s/200ms 0; 55.1s..100s/200ms 0", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_answers 40, computer_lets_go 44.7, force_ends 55, switching_resumes 56", map[ProofID]State{ProofAddsFuel: Proven}},
		{"a dead sensor between two holds, that lies as still as they", []string{warm, turning, closed, "O2S11 0s..24.98s/20ms 0.165; 25s..39.98s/20ms 0.005; 40s..74.98s/20ms 0.165; 75s..89.98s/20ms 0.9; 90s..100s/20ms 0.165",
			"SHRTFT1 0s..25s/200ms 22->25; 25.2s..75s/200ms 25; 75.2s..90s/200ms 25->-5; 90.2s..100s/200ms -5->15", "says 23s asked for lean; 25.5s lean; 40.5s release; 41s asked for none; 72s asked for rich; 75.5s rich; 90s release; 91s asked for none"},
			"ready 2, force_begins 25, trim_at_limit 25, force_ends 40, force_begins 75, loop_answers 75, force_ends 90", map[ProofID]State{ProofInput: Proven}},
		{"a cold sensor, held where nobody says so", []string{warm, turning, "FUELSYS1 0s..100s/2s 1", "O2S11 0s..39.8s/200ms 0.45; 40s..54.8s/200ms 0.03; 55s..69.8s/200ms 0.45; 70s..84.8s/200ms 0.91; 85s..100s/200ms 0.45", "SHRTFT1 0s..100s/200ms 0"},
			"not_ready 2, force_begins 40, force_ends 55, force_begins 70, force_ends 85", map[ProofID]State{ProofAddsFuel: Unclear}},
		{"a cold sensor through a filter, which the release brings down in steps", []string{warm, turning, "FUELSYS1 0s..100s/2s 1",
			"O2S11 0s..39.8s/200ms 0.45; 40s 0.33; 40.2s..54.8s/200ms 0.03; 55s 0.29; 55.2s..69.8s/200ms 0.45; 70s 0.66; 70.2s..84.8s/200ms 0.91; 85s 0.62; 85.2s..100s/200ms 0.45", "SHRTFT1 0s..100s/200ms 0"},
			"not_ready 2, force_begins 40, force_ends 55, force_begins 70, force_ends 85", map[ProofID]State{ProofAddsFuel: Unclear}},
		{"one that wakes and does not sleep again", []string{warm, turning, "FUELSYS1 0s..100s/2s 1", "O2S11 0s..39.8s/200ms 0.45; 40s..54.8s/200ms 0.03; " + cycling(55, 100), "SHRTFT1 0s..100s/200ms 0"},
			"not_ready 2", nil},
		{"a sensor that lies rich comes to another level where a hold was said, long after the release before", []string{warm, turning, closed,
			"O2S11 0s..39.8s/200ms 0.845; 40s..54.8s/200ms 0.03; 55s..74.8s/200ms 0.845; 75s..89.8s/200ms 0.97; 90s..110s/200ms 0.845",
			"SHRTFT1 0s..40s/200ms -20; 40.2s..54.8s/200ms -20->2; 55s..66s/200ms 2->-20; 66.2s..110s/200ms -20", "says 40s lean; 55s release; 75s rich; 90s release"},
			"ready 2, force_begins 40, loop_answers 40, force_ends 55, force_begins 75, trim_at_limit 75, force_ends 90", map[ProofID]State{ProofInput: Proven, ProofAddsFuel: Proven}},
		{"trim comes back to zero and no further, though the reading stays on the other side", []string{warm, turning, closed, volts("55s..100s/200ms 0.88"),
			"SHRTFT1 " + huntingAbout(4, 0, 40) + "; 40.1s..54.9s/200ms 4->26; 55.1s..70s/200ms 26->0; 70.2s..100s/200ms 0", "says 40s lean; 55s release; 80s rich; 95s release"},
			"ready 2, force_begins 40, loop_answers 40, force_ends 55, sensor_answers 55", map[ProofID]State{ProofAddsFuel: Proven, ProofCutsFuel: Failed}},
		{"the same, where nobody asked for that side", []string{warm, turning, closed, volts("55s..100s/200ms 0.88"),
			"SHRTFT1 " + huntingAbout(4, 0, 40) + "; 40.1s..54.9s/200ms 4->26; 55.1s..70s/200ms 26->0; 70.2s..100s/200ms 0", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_answers 40, force_ends 55, sensor_answers 55", map[ProofID]State{ProofAddsFuel: Proven, ProofCutsFuel: Unclear}},
		{"it was asked for, and trim was given up", []string{warm, turning, closed, volts("55s..100s/200ms 0.88"),
			"SHRTFT1 " + huntingAbout(4, 0, 40) + "; 40.1s..54.9s/200ms 4->26; 55.1s..56s/200ms 26->24; 56.2s..100s/200ms 0", "says 40s lean; 55s release; 80s rich; 95s release"},
			"ready 2, force_begins 40, loop_answers 40, force_ends 55, sensor_answers 55", map[ProofID]State{ProofAddsFuel: Proven, ProofCutsFuel: Unclear}},
		{"a mark that nothing follows", []string{warm, turning, closed, "O2S11 " + cycling(0, 100), "SHRTFT1 " + hunting(0, 100), "says 40s lean; 55s release"},
			"ready 2", map[ProofID]State{ProofInput: Unclear}},
		{"the same, of a reading that rests at the bias", []string{warm, turning, closed, "O2S11 0s..100s/200ms 0.45", "SHRTFT1 " + hunting(0, 100), "says 40s lean; 55s release"},
			"ready 2", map[ProofID]State{ProofInput: Failed}},
		{"the other bank's trim answers", []string{warm, turning, closed, volts(cycling(55, 100)), trims("40.1s..60.9s/200ms 0"),
			"SHRTFT2 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22; 55.1s..60.9s/200ms 22->0; " + hunting(61, 100), "says 40s lean; 55s release"},
			"ready 2, force_begins 40, other_bank_answers 40, loop_silent 48, force_ends 55, switching_resumes 56", map[ProofID]State{ProofBank: Failed}},
		{"the other bank's trim goes on as it does by itself", []string{warm, turning, closed, volts(cycling(55, 100)), trims("40.1s..60.9s/200ms 0"),
			"SHRTFT2 0s..10s/500ms -12->12; 10.5s..20s/500ms 12->-12; 20.5s..30s/500ms -12->12; 30.5s..40s/500ms 12->-12; 40.5s..55s/500ms -12->12; 55.5s..100s/500ms 12->-12", "says 40s lean; 55s release"},
			"ready 2, force_begins 40, loop_silent 48, force_ends 55, switching_resumes 56", map[ProofID]State{ProofBank: Untested}},
		{"the other bank's wire, whose reading lies there on when it is let go, and then the right one", []string{warm, turning, closed,
			"O2S11 " + cycling(0, 75) + "; 75s..89.8s/200ms 0.91; 90s..94.8s/200ms 0.1->0.05; " + cycling(95, 120), "O2S21 " + cycling(0, 40) + "; 40s..120s/200ms 0.03",
			"SHRTFT1 " + hunting(0, 75) + "; 75.1s..89.9s/200ms 0->-22; 90.1s..94.9s/200ms -22->0; " + hunting(95, 120), "SHRTFT2 " + hunting(0, 40) + "; 40.1s..120s/200ms 0",
			"says 38s asked for lean; 40s lean; 55s release; 56s asked for none; 73s asked for rich; 75s rich; 90s release; 91s asked for none"},
			"ready 2, force_begins 40, force_ends 75, force_begins 75, loop_answers 75, force_ends 90, sensor_answers 90, switching_resumes 95",
			map[ProofID]State{ProofInput: Proven, ProofCutsFuel: Proven, ProofBank: Unclear}},
		{"the other bank's wire: what its sensor says when it is let go is no force on it", []string{warm, turning, closed,
			"O2S11 " + cycling(0, 120), "O2S21 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; 55s..67.8s/200ms 0.95; " + cycling(68, 120),
			"SHRTFT1 " + hunting(0, 120), "SHRTFT2 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22; 55.1s..67.9s/200ms 22->0; " + hunting(68, 120),
			"says 38s asked for lean; 40s lean; 55s release; 56s asked for none; 69s asked for rich"},
			"ready 2, force_begins 40, other_bank_answers 40, force_ends 55, switching_resumes 56", map[ProofID]State{ProofInput: Unclear, ProofBank: Failed}},
		{"behind a filter, of a loop that cycles fast: told by the side, it comes to lie at a level, and ends when it leaves that", []string{warm, turning, closed,
			"O2S11 " + quick(0, 39.6) + "; 40s..48s/100ms 0.38->0.04; 48.1s..58.9s/100ms 0.04; " + quick(59, 77), "SHRTFT1 0s..74s/200ms 0",
			"says 39s asked for lean; 40.2s lean; 64.3s release; 66s asked for none"},
			"ready 2, force_begins 39, loop_silent 51.4, force_ends 59, switching_resumes 59.7", map[ProofID]State{ProofInput: Proven}},
		{"a hole in the readings", []string{warm, turning, closed, "O2S11 " + cycling(0, 20) + "; " + cycling(40, 60), "SHRTFT1 " + hunting(0, 60)}, "ready 2, gap 20", nil},
		{"the hold goes on to the end", []string{warm, turning, closed, "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03", "SHRTFT1 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22", "says 40s lean"},
			"ready 2, force_begins 40, loop_answers 40", map[ProofID]State{ProofAddsFuel: Proven, ProofSensorRich: Untested, ProofRecovery: Untested}},
	} {
		for _, turn := range []bool{false, true} {
			name := c.name
			if turn {
				name += ", turned over"
			}
			got, w := playSession(t, Config{}, turn, c.scripts...)
			scripttest.Tells(t, name, got, c.want)
			for id, s := range c.wantEnd {
				if turn {
					id = map[ProofID]ProofID{ProofAddsFuel: ProofCutsFuel, ProofSensorRich: ProofSensorLean}[id]
					if id == "" {
						continue
					}
				}
				if p := proofIn(w.Verdict(), id); p.State != s {
					t.Errorf("%s: %s is %s, want %s", name, id, p.State, s)
				}
			}
		}
	}
}

// What is said is a hint: late, early, twice or of the wrong side, the readings of the wire are believed; what is said of nothing is no
// force, and what is not said of a plain hold is doubted at least.
func TestMarksInText(t *testing.T) {
	const closed = "FUELSYS1 0s..120s/2s 2"
	held := []string{closed, "O2S11 " + cycling(0, 40) + "; 40s..54.8s/200ms 0.03; 55s..59.8s/200ms 0.86->0.9; " + cycling(60, 100),
		"SHRTFT1 " + hunting(0, 40) + "; 40.1s..54.9s/200ms 0->22; 55.1s..60.9s/200ms 22->0; " + hunting(61, 100)}
	free := []string{closed, "O2S11 " + cycling(0, 100), "SHRTFT1 " + hunting(0, 100)}
	lies := []string{closed, "O2S11 0s..100s/200ms 0.03", "SHRTFT1 0s..100s/200ms 25"}
	for _, c := range []struct {
		name, says string
		of         []string
		begins     bool
		input      State
	}{
		{"on time", "40s lean; 55s release", held, true, Proven},
		{"four seconds late", "44s lean; 58s release", held, true, Proven},
		{"four seconds early", "36s lean; 55s release", held, true, Proven},
		{"let go late", "40s lean; 60s release", held, true, Proven},
		{"never let go", "40s lean", held, true, Proven},
		{"twice", "40s lean; 42s lean; 55s release", held, true, Proven},
		{"corrected", "38s rich; 40s lean; 55s release", held, true, Proven},
		{"of a wire that nobody held", "40s lean; 55s release", free, false, Unclear},
		{"of the other side alone", "40s rich; 55s release", free, false, Unclear},
		{"for a second", "40s lean; 41s release", free, false, Unclear},
		{"of a reading that lies on the other side", "40s rich; 55s release", lies, false, Failed},
		{"the same, where that side was asked for", "38s asked for rich; 40s rich; 55s release", lies, false, Failed},
		{"of the other side than was asked for, and it swings on", "38s asked for lean; 40s rich; 55s release", free, false, Unclear},
		{"the same, where the side on which it lies was asked for", "38s asked for lean; 40s rich; 55s release", lies, false, Unclear},
	} {
		for _, turn := range []bool{false, true} {
			got, w := playSession(t, Config{}, turn, append(slices.Clone(c.of), "says "+c.says)...)
			begins := 0
			for _, e := range got {
				if e.Name == string(ForceBegins) {
					if begins++; math.Abs(e.T-40) > 1 {
						t.Errorf("%s, %v: begins at %.1f s", c.name, turn, e.T)
					}
				}
			}
			if begins > 1 || (begins == 1) != c.begins {
				t.Errorf("%s, %v: %v", c.name, turn, got)
			}
			if p := proofIn(w.Verdict(), ProofInput); p.State != c.input {
				t.Errorf("%s, %v: input %s, want %s", c.name, turn, p.State, c.input)
			}
		}
	}
}

// By mixture the loop brings the sensor back while propane goes on, and trim stays away for as long: that is an answer, and the mixture
// was delivered. What is not announced is no force where others were.
func TestMixtureInText(t *testing.T) {
	const closed = "FUELSYS1 0s..140s/2s 2"
	fed := []string{closed, "O2S11 " + cycling(0, 40) + "; 40s..43.8s/200ms 0.88; " + cycling(44, 60) + "; 60s..63.8s/200ms 0.06; " + cycling(64, 100),
		"SHRTFT1 " + hunting(0, 40) + "; 40.1s..43.9s/200ms 0->-11; " + huntingAbout(-11, 44, 60) + "; 60.1s..63.9s/200ms -11->0; " + hunting(64, 100)}
	for _, c := range []struct {
		name   string
		of     []string
		proofs map[ProofID]State
		end    Conclusion
	}{
		{"propane, announced", append(slices.Clone(fed), "says 40s rich; 60s release"), map[ProofID]State{ProofCutsFuel: Proven, ProofAddsFuel: Untested, ProofDelivery: Proven}, ""},
		{"nothing announced, nothing seen", []string{closed, "O2S11 " + cycling(0, 100), "SHRTFT1 " + hunting(0, 100)}, map[ProofID]State{ProofInput: Untested}, NothingForced},
		{"announced, and the sensor lies dead", []string{closed, "O2S11 0s..100s/200ms 0.45", "SHRTFT1 0s..100s/200ms 0", "says 40s rich; 60s release"},
			map[ProofID]State{ProofInput: Unclear, ProofCutsFuel: Unclear}, ConclusionUnclear},
	} {
		for _, turn := range []bool{false, true} {
			got, w := playSession(t, Config{By: ByMixture}, turn, c.of...)
			v := w.Verdict()
			for id, want := range c.proofs {
				if turn {
					if other, is := map[ProofID]ProofID{ProofCutsFuel: ProofAddsFuel, ProofAddsFuel: ProofCutsFuel}[id]; is {
						id = other
					}
				}
				if p := proofIn(v, id); p.State != want {
					t.Errorf("%s, %v: %s is %s, want %s (%v)", c.name, turn, id, p.State, want, got)
				}
			}
			if c.end != "" && v.Conclusion != c.end {
				t.Errorf("%s, %v: %s, want %s", c.name, turn, v.Conclusion, c.end)
			}
		}
	}
}

// Ready is said after two seconds, and taken back after twelve: closed loop comes and goes with each deceleration. What is not read
// forbids nothing.
func TestReadinessInText(t *testing.T) {
	for _, c := range []struct {
		name    string
		scripts []string
		want    string
	}{
		{"nothing but the sensor", []string{"O2S11 " + cycling(0, 20)}, "ready 2"},
		{"cold, then warm", []string{"ECT 0s..30s/1s 50; 31s..60s/1s 60", "O2S11 " + cycling(0, 60)}, "not_ready 2, ready 33"},
		{"59 °C is cold", []string{"ECT 0s..30s/1s 59"}, "not_ready 2"},
		{"open for five seconds", []string{"FUELSYS1 0s..10s/1s 2; 11s..15s/1s 4; 16s..40s/1s 2"}, "ready 2"},
		{"open for thirteen", []string{"FUELSYS1 0s..10s/1s 2; 11s..24s/1s 4; 25s..40s/1s 2"}, "ready 2, not_ready 23, ready 27"},
		{"closed with a fault is closed", []string{"FUELSYS1 0s..10s/1s 16"}, "ready 2"},
		{"a fault from the beginning", []string{"FUELSYS1 0s..10s/1s 8"}, "not_ready 2"},
		{"the engine stands", []string{"RPM 0s..10s/1s 0; 11s..20s/1s 800"}, "not_ready 2, ready 13"},
		{"a wide-range sensor", []string{"EQ_RAT11 0s..10s/1s 1"}, "not_ready 0"},
		{"a diesel", []string{"FUEL_TYP 0s..10s/1s 4"}, "not_ready 2"},
		{"secondary air, then none", []string{"AIR_STAT 0s..20s/1s 1; 21s..30s/1s 4"}, "not_ready 2, ready 23"},
		{"the second fuel system is another bank's", []string{"FUELSYS1 0s..10s/1s 2", "FUELSYS2 0s..10s/1s 1"}, "ready 2"},
	} {
		got, _ := playSession(t, Config{}, false, c.scripts...)
		scripttest.Tells(t, c.name, got, c.want)
	}
	for _, c := range []struct {
		name    string
		scripts []string
		want    string
	}{
		{"bank 2 has a system of its own", []string{"FUELSYS1 0s..20s/1s 1", "FUELSYS2 0.5s..20.5s/1s 2"}, "ready 2"},
		{"bank 2's own is open", []string{"FUELSYS1 0s..20s/1s 2", "FUELSYS2 0.5s..20.5s/1s 1"}, "not_ready 3"},
		{"both banks on one", []string{"FUELSYS1 0s..20s/1s 1", "FUELSYS2 0.5s..20.5s/1s 0"}, "not_ready 2"},
	} {
		got, _ := playSession(t, Config{Sensor: decode.SensorID{Bank: 2, Position: 1}}, false, c.scripts...)
		scripttest.Tells(t, c.name, got, c.want)
	}
}
