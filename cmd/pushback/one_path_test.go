package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
)

// guidedRun is a guided test of a simulated car in simulated time, by the path of
// `test` and `demo`: only link and clock are others.
func guidedRun(t *testing.T, a *app, car simcar.Car, bus obd.Bus, samples bool) error {
	t.Helper()
	sim, err := simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	r := demoRun(sim)
	r.bus = bus
	r.flags.car.sensor, r.flags.samples = car.Sensor, samples
	return a.runLive(context.Background(), r)
}

// demoRun is the guided test of a simulated car in simulated time.
func demoRun(sim *simcar.Sim) liveRun {
	return liveRun{
		look:   lookOf(sim, obd.BusUnknown),
		origin: "simulated",
		guide:  &session.GuideConfig{Ready: 12 * time.Second},
		technician: func(c live.Controls) rig.Technician {
			return &simrun.Technician{Hands: hands.New(hands.Styles[0], sim, ""), Controls: c}
		},
	}
}

func testApp(t testing.TB, db string) (a *app, out, errOut *bytes.Buffer) {
	t.Helper()
	soundAtEnd(t, db)
	out, errOut = new(bytes.Buffer), new(bytes.Buffer)
	return &app{in: strings.NewReader(""), out: out, errOut: errOut, db: db, json: true}, out, errOut
}

// command runs a command line and returns its standard output and status.
func command(t testing.TB, args ...string) (string, int) {
	t.Helper()
	if db := databaseOf(args); db != "" {
		soundAtEnd(t, db)
	}
	var out, errOut bytes.Buffer
	status := run(context.Background(), args, strings.NewReader(""), &out, &errOut)
	if status == statusFailed || status == statusUsage {
		t.Fatalf("pushback %s: status %d: %s", strings.Join(args, " "), status, errOut.String())
	}
	return out.String(), status
}

// TestReplayOfTheSecondDialect: the same for cars of SAE J1979-2 drawn at random, of each length of identifiers.
func TestReplayOfTheSecondDialect(t *testing.T) {
	left := map[int]int{11: 2, 29: 2}
	if testing.Short() {
		left = map[int]int{29: 1}
	}
	for seed := uint64(21_000_000); left[11]+left[29] > 0; seed++ {
		cfg, _ := simcar.Random(seed)
		car := cfg.Car
		if car.Dialect() != obd.J1979v2 || left[car.Bus.IDBits()] == 0 {
			continue
		}
		left[car.Bus.IDBits()]--
		t.Run(fmt.Sprintf("%v %d", car.Bus, seed), func(t *testing.T) {
			t.Parallel()
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, _ := testApp(t, db)
			status := statusDone
			var end concluded
			if err := guidedRun(t, a, car, obd.BusUnknown, true); errors.As(err, &end) {
				status = int(end)
			} else if err != nil {
				t.Fatal(err)
			}
			replayed, again := command(t, "replay", "last", "--json", "--samples", "--db", db)
			if live := withoutSteps(out.String()); replayed != live || again != status || !strings.Contains(live, `"dialect":"j1979-2"`) {
				t.Errorf("status %d, of the replay %d; it differs from live%s", status, again, firstDifference(live, replayed))
			}
		})
	}
}

// The events and the verdict of a live session and of its replay are equal, byte
// for byte, for every simulated car; and so is the status. The conclusion is the one
// that an experienced technician would accept of this car.
func TestReplayEqualsLive(t *testing.T) {
	for i, car := range simcar.Cars() {
		if testing.Short() && i > 0 {
			continue
		}
		t.Run(car.Name, func(t *testing.T) {
			t.Parallel()
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			err := guidedRun(t, a, car, obd.BusUnknown, true)
			if out.Len() == 0 { // refused before a session began
				if _, _, status := describe(err); status != statusNotReady || car.Expect != "not_ready" {
					t.Fatalf("refused: %v", err)
				}
				return
			}
			status := statusDone
			if err != nil {
				var end concluded
				if !errors.As(err, &end) {
					t.Fatal(err)
				}
				status = int(end)
			}
			replayed, again := command(t, "replay", "last", "--json", "--samples", "--db", db)
			if again != status {
				t.Errorf("replay's status is %d, live's %d", again, status)
			}
			if live := withoutSteps(out.String()); replayed != live {
				t.Errorf("replay differs from live%s", firstDifference(live, replayed))
			}
			if got := conclusion(t, out.String()); got != car.Expect && !slices.Contains(car.Also, got) {
				t.Errorf("concludes %s, a technician would say %s\n%s", got, car.Expect, errOut)
			}
			if got := statusOf(analysis.Conclusion(conclusion(t, out.String()))); got != status {
				t.Errorf("status %d for a verdict that asks for %d\n%s", status, got, errOut)
			}
			exchangesWhole(t, db)
		})
	}
}

// Other buses: the same.
func TestReplayEqualsLiveOnEveryBus(t *testing.T) {
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	for bus := obd.PWM; bus <= obd.CAN29at250; bus++ {
		if testing.Short() && bus != obd.ISO9141 && bus != obd.CAN11at500 {
			continue
		}
		t.Run(bus.String(), func(t *testing.T) {
			t.Parallel()
			db := filepath.Join(t.TempDir(), "p.db")
			a, out, errOut := testApp(t, db)
			if err := guidedRun(t, a, car, bus, true); err != nil {
				t.Errorf("live: %v\n%s", err, errOut)
			}
			replayed, _ := command(t, "replay", "last", "--json", "--samples", "--db", db)
			if live := withoutSteps(out.String()); replayed != live {
				t.Errorf("replay differs from live%s", firstDifference(live, replayed))
			}
		})
	}
}

// A session that is exported and imported again is judged by the same path: the
// import's stored judgement equals its replay, and the table comes out as it went in.
func TestImportEqualsItsReplay(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	db := filepath.Join(dir, "p.db")
	a, out, _ := testApp(t, db)
	if err := guidedRun(t, a, car, obd.BusUnknown, false); err != nil {
		t.Fatal(err)
	}
	first, second := filepath.Join(dir, "1.csv"), filepath.Join(dir, "2.csv")
	command(t, "export", "last", "--csv", first, "--db", db)
	command(t, "import", first, "--db", db)
	command(t, "export", "last", "--csv", second, "--db", db)
	if x, y := read(t, first), read(t, second); x != y {
		t.Errorf("the table changes on its way%s", firstDifference(x, y))
	}
	replayed, _ := command(t, "replay", "last", "--json", "--db", db)
	shown, _ := command(t, "show", "last", "--json", "--db", db)
	var stored struct {
		Events  []json.RawMessage
		Verdict json.RawMessage
	}
	if err := json.Unmarshal([]byte(shown), &stored); err != nil {
		t.Fatal(err)
	}
	_, lines, _ := strings.Cut(replayed, "\n") // after the session line
	var want strings.Builder
	for _, e := range append(stored.Events, stored.Verdict) {
		want.Write(append(e, '\n'))
	}
	if lines != want.String() {
		t.Errorf("replay of the import differs from what import stored%s", firstDifference(want.String(), lines))
	}
	if live, again := conclusion(t, out.String()), conclusion(t, replayed); live != again {
		t.Errorf("live concluded %s, its table %s", live, again)
	}
}

// conclusion is that of the last JSON line.
func conclusion(t *testing.T, out string) string {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var v struct{ Kind, Conclusion string }
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &v); err != nil || v.Kind != "verdict" {
		t.Fatalf("the last line is %q (%v)", lines[len(lines)-1], err)
	}
	return v.Conclusion
}

// withoutSteps leaves out what a person was asked to do: that is not asked again in a replay.
func withoutSteps(lines string) string {
	var b strings.Builder
	for line := range strings.Lines(lines) {
		if !strings.HasPrefix(line, `{"kind":"step"`) {
			b.WriteString(line)
		}
	}
	return b.String()
}

func firstDifference(x, y string) string {
	a, b := strings.Split(x, "\n"), strings.Split(y, "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return "\n  " + a[i] + "\n  " + b[i]
		}
	}
	return ": one is longer"
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
