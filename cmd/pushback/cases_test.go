package main

import (
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pushback/analysis"
)

// says is what must be told of a case beside the conclusion: an event, the step that decides.
var says = map[string]string{
	"ground_offset_0.2V":     "return_offset",
	"branch_left_open_0.45V": "branch_open close_branch",
	"branch_left_open_0V":    "close_branch",
	"branch_left_open_1.1V":  "branch_open close_branch",
	"trim_given_up_3s":       "computer_lets_go shorter_hold",
	"trim_given_up_6s":       "computer_lets_go shorter_hold",
	"closed_loop_with_fault": "computer_lets_go shorter_hold",
	"giveup_0":               "computer_lets_go shorter_hold",
	"giveup_11":              "computer_lets_go", // and what trim had left of its answer by the release was enough for the sensor to say it
}

// Recordings of what other computers and wirings do, made for this by others: expected.csv says what may be concluded of each,
// and what may not be, neither a conclusion nor a proof's state. Who imports and replays one gets that.
func TestCases(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(read(t, "testdata/cases/expected.csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range rows[1:] {
		file, sensor, accepted, mustNot := row[0], row[1], strings.Split(row[2], ";"), strings.Fields(row[3])
		if testing.Short() && i%5 > 0 {
			continue
		}
		t.Run(file, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			db := filepath.Join(dir, "p.db")
			command(t, "import", unpacked(t, dir, file), "--sensor", sensor, "--db", db)
			lines, _ := command(t, "replay", "last", "--json", "--db", db)
			v, told := verdictOf(t, lines)
			if !slices.Contains(accepted, string(v.Conclusion)) {
				t.Errorf("concludes %s, not one of %v", v.Conclusion, accepted)
			}
			found := []string{string(v.Conclusion)}
			for _, p := range v.Proofs {
				found = append(found, string(p.ID)+"="+string(p.State))
				if strings.Contains(says[strings.TrimSuffix(file, ".csv")], "shorter_hold") && strings.Contains(p.Why, "hold longer") {
					t.Errorf("%s: the computer lets go of the sensor, but it says: %s", p.ID, p.Why)
				}
			}
			for _, f := range found {
				if slices.Contains(mustNot, f) {
					t.Errorf("%s must not be said", f)
				}
			}
			for _, s := range strings.Fields(says[strings.TrimSuffix(file, ".csv")]) {
				if !slices.Contains(told, s) && s != v.Decide {
					t.Errorf("%s is not told; told was %v, decide %s", s, told, v.Decide)
				}
			}
		})
	}
}

// toldVerdict is the last line of a replay.
type toldVerdict struct {
	Conclusion analysis.Conclusion
	Decide     string
	Proofs     []struct {
		ID    analysis.ProofID
		State analysis.State
		Why   string
	}
}

// verdictOf reads the lines of a replay: its verdict, and the names of all events.
func verdictOf(t *testing.T, lines string) (v toldVerdict, events []string) {
	t.Helper()
	for line := range strings.Lines(lines) {
		var kind struct{ Kind, Event string }
		if err := json.Unmarshal([]byte(line), &kind); err != nil {
			t.Fatal(err)
		}
		switch kind.Kind {
		case "event":
			events = append(events, kind.Event)
		case "verdict":
			if err := json.Unmarshal([]byte(line), &v); err != nil {
				t.Fatal(err)
			}
		}
	}
	return v, events
}

// unpacked returns the path of a case's table.
func unpacked(t *testing.T, dir, file string) string {
	t.Helper()
	packed, err := os.Open(filepath.Join("testdata/cases", file+".gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer packed.Close()
	z, err := gzip.NewReader(packed)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, file)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
