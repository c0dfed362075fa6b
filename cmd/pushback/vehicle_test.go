package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/simrun"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

// lookOf is a look at a simulated car in simulated time.
func lookOf(sim *simcar.Sim, bus obd.Bus) look {
	return look{car: carFlags{sensor: "B1S1"}, bus: bus, clock: sim.Clock(), open: func(context.Context) (obd.Link, error) { return sim.Link(), nil }}
}

func lookAt(t *testing.T, cfg simcar.Config) (sheet.Vehicle, int, string) {
	t.Helper()
	sim, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	a, out, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
	err = a.runVehicle(context.Background(), lookOf(sim, cfg.Bus), "")
	var r sheet.Vehicle
	if jerr := json.Unmarshal(out.Bytes(), &r); jerr != nil {
		t.Fatalf("%v: %v", jerr, err)
	}
	status := a.exit(err)
	a.json = false
	var text strings.Builder
	r.Write(&text)
	return r, status, text.String()
}

// Each condition that a car does not meet is named, and says what to do; the others do
// not.
func TestVehicleChecks(t *testing.T) {
	for _, tt := range []struct {
		name   string
		cfg    simcar.Config
		unmet  []string // the checks, in order
		advice string   // part of what to do
		status int
	}{
		{"sound", simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500}, nil, "", statusDone},
		{"sound, slow bus", simcar.Config{Car: simCar(t, "no-downstream"), Bus: obd.ISO9141}, nil, "", statusDone},
		{"cold", simcar.Config{Car: simCar(t, "cold"), Bus: obd.CAN11at500}, []string{"coolant warm", "running long enough", "closed loop"}, "2500 rpm", statusNotReady},
		{"wide-range", simcar.Config{Car: simCar(t, "wide-range"), Bus: obd.CAN11at500}, []string{"switching (narrow) sensor"}, "propane", statusNotReady},
		{"with a code", simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: obd.ISO9141}, []string{"no codes that affect fuel control"}, "write them down", statusDone},
		{"engine off", simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Stopped: true}, []string{"engine running", "running long enough", "closed loop"}, "start the engine", statusNotReady},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.cfg.Seed = 3
			r, status, text := lookAt(t, tt.cfg)
			var unmet []string
			all := ""
			for _, c := range r.Checks {
				if c.State == dossier.Unknown {
					t.Errorf("%s is not known", c.What)
				}
				if c.State == dossier.Unmet {
					unmet = append(unmet, c.What)
				}
				if (c.Do != "") != (c.State != dossier.Met) {
					t.Errorf("%+v", c)
				}
				all += c.Do
			}
			if strings.Join(unmet, ";") != strings.Join(tt.unmet, ";") || !strings.Contains(all, tt.advice) || status != tt.status {
				t.Errorf("status %d, want %d; unmet %v, want %v (%s)", status, tt.status, unmet, tt.unmet, all)
			}
			for _, w := range []string{"titania", "raised return"} {
				if !strings.Contains(text, w) {
					t.Errorf("it does not ask about %s", w)
				}
			}
		})
	}
}

// The computer's own figures stand beside the recording's, by service 05 and by service 06
// alike, and agree on a sound car; a code comes with its freeze frame.
func TestVehicleOwnFigures(t *testing.T) {
	for bus, service := range map[obd.Bus]string{obd.ISO9141: "05", obd.CAN11at500: "06"} {
		r, _, _ := lookAt(t, simcar.Config{Car: simCar(t, "vacuum-leak"), Bus: bus, Seed: 3})
		seen := map[string]sheet.OwnTest{}
		for _, x := range r.Tests {
			if !strings.HasPrefix(x.ID, service) && !strings.Contains(x.ID, "part") {
				t.Errorf("%v: %s", bus, x.ID)
			}
			seen[x.What] = x
		}
		if x := seen["rich to lean threshold"]; x.Sensor != "B1S1" || math.Abs(float64(x.Value)-0.45) > 0.001 || x.Unit != "V" {
			t.Errorf("%v: threshold %+v", bus, x)
		}
		if x := seen["maximum voltage in the test cycle"]; x.Max == x.Min || math.IsNaN(float64(x.Recorded)) {
			t.Errorf("%v: maximum %+v", bus, x)
		}
	}
	r, _, _ := lookAt(t, simcar.Config{Car: simCar(t, "vacuum-leak-large"), Bus: obd.VPW, Seed: 3})
	// Off CAN the maker's tests are shown raw, each with the limit that the standard tells.
	parts := ""
	for _, x := range r.Tests {
		if strings.HasPrefix(x.ID, "06 ") {
			parts += fmt.Sprintf("%s %.0f (%.0f to %.0f);", x.ID, float64(x.Value), float64(x.Min), float64(x.Max))
		}
	}
	if want := "06 02 part 01 40 (NaN to 100);06 03 part 05 300 (NaN to 500);06 03 part 05 300 (10 to NaN);"; parts != want {
		t.Errorf("the maker's tests are %s, want %s", parts, want)
	}
	if r.Freeze == nil || r.Freeze.Code != "P0171" {
		t.Fatalf("no freeze frame: %+v", r)
	}
	values := map[string]sheet.Number{}
	for _, v := range r.Freeze.Values {
		values[v.Name] = v.Value
	}
	if values["RPM"] != 750 || math.Abs(float64(values["LONGFT1"])-7.8125) > 0.1 || values["ECT"] != 90 {
		t.Errorf("freeze frame %+v", r.Freeze)
	}
}

// A car of J1979-2 shows what one of J1979 does: codes with their freeze frames, readiness where it keeps it, its own tests.
func TestVehicleOfTheSecondDialect(t *testing.T) {
	for _, bus := range []obd.Bus{obd.CAN11at500, obd.CAN29at500} {
		r, _, text := lookAt(t, simcar.Config{Car: simCar(t, "wide-obd-on-uds"), Bus: bus, Seed: 3})
		if r.Dialect != "j1979-2" || r.Freeze == nil || r.Freeze.Code != "P0456" || len(r.More) != 1 || r.More[0].Code != "P0442" || len(r.More[0].Values) < 8 {
			t.Errorf("%v: dialect %s, %+v, more %+v", bus, r.Dialect, r.Freeze, r.More)
		}
		states := ""
		for _, c := range r.Codes {
			states += c.Code + " " + c.State + " "
		}
		if states != "P0442 stored P0456 stored " || r.Monitors == nil || len(r.Tests) == 0 {
			t.Errorf("%v: codes %q, monitors %v, %d tests", bus, states, r.Monitors, len(r.Tests))
		}
		if !strings.Contains(text, "J1979-2") {
			t.Errorf("%v: the dialect is not named in %s", bus, text)
		}
	}
}

// A guided test tells the conditions that are not met beside those that it waits for.
func TestUnmetConditionsAreTold(t *testing.T) {
	for car, want := range map[string]string{"vacuum-leak-large": "codes that affect fuel control: P0171 (fuel trim, stored). Write", "healthy": ""} {
		a, _, said := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		_ = guidedRun(t, a, simCar(t, car), obd.ISO9141, false) // the status is the verdict's
		if got := said.String(); strings.Contains(got, "Not met when the test began") != (want != "") || !strings.Contains(got, want) {
			t.Errorf("%s: want %q: %s", car, want, got)
		}
	}
}

// What was found of the line: signals that the car offers and no others, and the rate as a
// share of what the voltage alone would have.
func TestVehicleLine(t *testing.T) {
	for _, tt := range []struct {
		car      string
		bus      obd.Bus
		min, max float64
	}{{"healthy", obd.CAN11at500, 0.8, 1}, {"healthy", obd.ISO9141, 0.55, 0.8}, {"healthy", obd.VPW, 0.6, 0.9}, {"obd-on-uds", obd.CAN11at500, 0.8, 1}} {
		r, _, text := lookAt(t, simcar.Config{Car: simCar(t, tt.car), Bus: tt.bus, Seed: 3})
		if r.Share < tt.min || r.Share > tt.max {
			t.Errorf("%s on %v: share %v", tt.car, tt.bus, r.Share)
		}
		signals := strings.Join(r.Signals, " ")
		if !strings.Contains(signals, "O2S11 ") || !strings.Contains(signals, "SHRTFT1 ") || !strings.Contains(signals, "FUELSYS1") ||
			strings.Contains(signals, "O2S21") || strings.Contains(signals, "SHRTFT2 ") || strings.Contains(signals, "SHRTFT3") {
			t.Errorf("%s on %v: signals %s", tt.car, tt.bus, signals)
		}
		if !strings.Contains(text, "signals      ") || !strings.Contains(text, "readings/s of B1S1") {
			t.Error(text)
		}
	}
}

// spy is a line that tells what is sent and to which speed it is set.
type spy struct {
	obd.Link
	obd.BaudSetter
	sent func(text string)
	sped func(baud int)
}

func (s *spy) Write(p []byte) (int, error) {
	s.sent(string(p))
	return s.Link.Write(p)
}

func (s *spy) SetBaud(baud int) error {
	s.sped(baud)
	return s.BaudSetter.SetBaud(baud)
}

// spied lets a look be seen: sent is told all that goes to the adapter, sped each serial speed.
func spied(v look, sent func(string), sped func(int)) look {
	open := v.open
	v.open = func(ctx context.Context) (obd.Link, error) {
		l, err := open(ctx)
		if err != nil {
			return nil, err
		}
		return &spy{l, l.(obd.BaudSetter), sent, sped}, nil
	}
	return v
}

// manners is what the adapter says by itself at the usual speed: bus, echo, blanks, headers. It
// is another adapter's after power-up, where nobody has set it up.
func manners(t *testing.T, sim *simcar.Sim) string {
	t.Helper()
	l := sim.Link()
	defer l.Close()
	speed := l.(obd.BaudSetter).Baud()
	if speed != 38400 {
		t.Errorf("the line is left at %d baud", speed)
	}
	var got []byte
	buf := make([]byte, 64)
	for _, text := range []string{"ATDPN\r", "0100\r", "ATDPN\r", "0114\r"} {
		if _, err := l.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
		for n := len(got); !strings.HasSuffix(string(got[n:]), ">"); {
			if err := l.SetReadDeadline(sim.Clock().Now().Add(20 * time.Second)); err != nil {
				t.Fatal(err)
			}
			k, err := l.Read(buf)
			if err != nil {
				t.Fatalf("after %q: %v", got, err)
			}
			got = append(got, buf[:k]...)
		}
		if text == "0114\r" { // the reading is another each time
			got = regexp.MustCompile(`41 14 .. ..`).ReplaceAll(got, []byte("41 14"))
		}
	}
	return string(got)
}

// A look at a known car spares the search; what it learns of a new one, it keeps.
func TestVehicleRemembers(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	var reports [2]sheet.Vehicle
	for i := range 2 {
		sim, err := simcar.New(simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN29at500, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		a, out, _ := testApp(t, db)
		searched := false
		v := spied(lookOf(sim, obd.BusUnknown), func(text string) { searched = searched || strings.Contains(text, "ATTP6") }, func(int) {})
		v.memory = rig.MemoryBeside(db)
		if err := a.runVehicle(t.Context(), v, ""); err != nil {
			t.Fatal(err)
		}
		if searched != (i == 0) {
			t.Errorf("look %d: searched %v", i+1, searched)
		}
		if err := json.Unmarshal(out.Bytes(), &reports[i]); err != nil {
			t.Fatal(err)
		}
	}
	a, b := reports[0], reports[1]
	if a.Bus != b.Bus || !slices.Equal(a.Signals, b.Signals) || !slices.Equal(a.Sensors, b.Sensors) || !slices.Equal(a.Computers, b.Computers) || !b.Ready {
		t.Errorf("%+v\nthen %+v", a, b)
	}
}

// The rate is measured at the serial speed that a test has, and that is put back.
func TestVehicleRaisesTheSpeed(t *testing.T) {
	rates := map[int]float64{}
	for _, most := range []int{0, 500_000} {
		sim, err := simcar.New(simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Seed: 3, MaxBaud: 500_000})
		if err != nil {
			t.Fatal(err)
		}
		fresh, err := simcar.New(simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		a, out, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		var speeds []int
		v := spied(lookOf(sim, obd.CAN11at500), func(string) {}, func(baud int) { speeds = append(speeds, baud) })
		v.maxBaud = most
		if err := a.runVehicle(t.Context(), v, ""); err != nil {
			t.Fatal(err)
		}
		if slices.Contains(speeds, 500_000) != (most > 0) {
			t.Errorf("up to %d: %v", most, speeds)
		}
		if got, want := manners(t, sim), manners(t, fresh); got != want {
			t.Errorf("up to %d: the adapter is left as %q, was %q", most, got, want)
		}
		var r sheet.Vehicle
		if err := json.Unmarshal(out.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		rates[most] = r.RateHz
	}
	if rates[500_000] < 1.1*rates[0] {
		t.Errorf("readings/s %v", rates)
	}
}

// Ctrl-C at any moment leaves the adapter as it was after power-up: echo, blanks, headers, serial
// speed, and the bus that it keeps.
func TestInterruptLeavesTheAdapterAsItWas(t *testing.T) {
	if testing.Short() {
		t.Skip("runs in real time")
	}
	var noTry []string // an adapter that can only keep a bus, not try it
	for n := range 10 {
		noTry = append(noTry, fmt.Sprintf("TP%d", n))
	}
	for _, refuse := range [][]string{nil, noTry} {
		for _, name := range []string{"record", "vehicle"} {
			for _, at := range []string{"ATZ", "ATE1", "ATH1", "ATAT1", "ATRV", "BRD", "ATTP6", "ATSP6", "01", "0C", "14"} {
				if at == "ATSP6" && refuse == nil {
					continue
				}
				t.Run(fmt.Sprint(name, " ", at, len(refuse)), func(t *testing.T) {
					cfg := simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Seed: 1, MaxBaud: 500_000, Refuse: refuse}
					sim, err := simcar.New(cfg)
					if err != nil {
						t.Fatal(err)
					}
					fresh, err := simcar.New(cfg)
					if err != nil {
						t.Fatal(err)
					}
					ctx, interrupt := context.WithCancel(t.Context())
					defer interrupt()
					sent, cut := "", false
					v := spied(lookOf(sim, obd.CAN11at500), func(text string) {
						if sent += text; !cut && strings.Contains(sent, at) {
							cut = true
							interrupt()
						}
					}, func(int) {})
					a, _, _ := testApp(t, filepath.Join(t.TempDir(), "p.db"))
					if name == "vehicle" {
						v.maxBaud = 500_000
						err = a.runVehicle(ctx, v, "")
					} else {
						r := liveRun{look: v, name: "record", origin: "live"}
						r.maxBaud, r.flags.car, r.flags.dur = 500_000, v.car, time.Hour
						err = a.runLive(ctx, r)
					}
					if !cut {
						t.Fatalf("not interrupted by %q; %v", sent, err)
					}
					if got, want := manners(t, sim), manners(t, fresh); got != want {
						t.Errorf("the adapter is left as %q, was %q; %v", got, want, err)
					}
				})
			}
		}
	}
}

// served serves a sound car on this machine.
func served(t *testing.T) (port string) {
	t.Helper()
	sim, err := simcar.New(simcar.Config{Car: simCar(t, "healthy"), Bus: obd.CAN11at500, Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	port, stop, err := simrun.Serve(context.Background(), sim, "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(stop)
	return port
}

// --log debug shows the dialogue on standard error; without it nothing of it is shown.
func TestLogDebug(t *testing.T) {
	if testing.Short() {
		t.Skip("talks in real time")
	}
	for _, args := range [][]string{{"vehicle"}, {"record", "--for", "1s"}} {
		for _, debug := range []bool{true, false} {
			t.Run(fmt.Sprint(args[0], debug), func(t *testing.T) {
				t.Parallel()
				args := append(slices.Clone(args), "--port", served(t), "--db", filepath.Join(t.TempDir(), "p.db"))
				if debug {
					args = append(args, "--log", "debug")
				}
				soundAtEnd(t, databaseOf(args))
				var out, errOut bytes.Buffer
				status := run(context.Background(), args, strings.NewReader(""), &out, &errOut)
				if status == statusFailed || status == statusUsage {
					t.Errorf("status %d", status)
				}
				said := map[string]string{}
				for _, line := range regexp.MustCompile(`(?m)^\S+ DBG \d+\.\d+ ([<>]) (".*")$`).FindAllStringSubmatch(errOut.String(), -1) {
					text, err := strconv.Unquote(line[2])
					if err != nil {
						t.Errorf("%s: %v", line[2], err)
					}
					said[line[1]] += text
				}
				for _, want := range [][2]string{{">", "ATZ\r"}, {">", "0100"}, {"<", "simulated adapter"}, {"<", "7E8064100"}} {
					if strings.Contains(said[want[0]], want[1]) != debug {
						t.Errorf("%q in\n%.3000s", want, &errOut)
					}
				}
			})
		}
	}
}

// The file of --capture is read back as the session that was recorded beside it: of a new car, and of
// one that is known, which begins otherwise.
func TestCaptureFlag(t *testing.T) {
	if testing.Short() {
		t.Skip("records in real time")
	}
	t.Parallel()
	dir := t.TempDir()
	here, port := filepath.Join(dir, "here.db"), served(t)
	for _, name := range []string{"new", "known"} {
		file, there := filepath.Join(dir, name+".txt"), filepath.Join(dir, name+".db")
		command(t, "record", "--port", port, "--for", "1s", "--capture", file, "--db", here)
		command(t, "import", file, "--db", there)
		want, got := recordsIn(t, here), recordsIn(t, there)
		// The clock was read twice, for the session and for the file.
		near := cmp.Comparer(func(x, y time.Duration) bool { return (x - y).Abs() < 100*time.Millisecond })
		if d := cmp.Diff(want, got, near); d != "" || len(got) < 20 {
			t.Errorf("%s: %d records: %s", name, len(got), d)
		}
		if x, y := metaOf(t, here, "last"), metaOf(t, there, "last"); x.Format != y.Format || x.Adapter != y.Adapter || !slices.Equal(x.Sensors, y.Sensors) {
			t.Errorf("%s: %+v, was %+v", name, y, x)
		}
	}
}

// In simulated time both clocks show the same, and so do both sessions: to the byte.
func TestCaptureFlagExactly(t *testing.T) {
	dir := t.TempDir()
	db := filepath.Join(dir, "p.db")
	for i, name := range []string{"healthy", "healthy", "v-engine", "healthy"} { // new, known, another, known
		sim, err := simcar.New(simcar.Config{Car: simCar(t, name), Bus: obd.CAN11at500, Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		a, _, errOut := testApp(t, db)
		v := lookOf(sim, obd.BusUnknown)
		r := liveRun{look: v, name: "record", origin: "live"}
		r.memory, r.flags.car, r.flags.dur, r.flags.capture = rig.MemoryBeside(db), v.car, 3*time.Second, filepath.Join(dir, fmt.Sprint(i, ".txt"))
		if err := a.runLive(t.Context(), r); err != nil {
			t.Fatal(err, errOut)
		}
		if out, _ := command(t, "import", r.flags.capture, "--json", "--db", db); !strings.Contains(out, `"duplicate":true`) {
			t.Errorf("%d: its records are not those of the session: %s", i, out)
		}
	}
}

// recordsIn returns the records of the last session of a database.
func recordsIn(t *testing.T, path string) []obd.Record {
	t.Helper()
	db, err := store.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	r, err := db.Records(t.Context(), "last")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var all []obd.Record
	for {
		rec, err := r.Next(t.Context())
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rec)
	}
}

// Of a vehicle that speaks neither dialect it is said what was asked and heard, and what to do.
func TestVehicleOfAnotherLanguage(t *testing.T) {
	for name, want := range map[string][]string{
		"heavy-duty":     {"on can29-250 others talk as trucks do (SAE J1939: 0CF00400 ", "needs a tool for SAE J1939"},
		"nobody-answers": {"on can11-500 nobody answers 0100, 22F400, 22F810", "lets nobody ask by SAE J1979 or J1979-2"},
	} {
		sim, err := simcar.New(simcar.Config{Car: simCar(t, name), Seed: 1})
		if err != nil {
			t.Fatal(err)
		}
		a, out, errOut := testApp(t, filepath.Join(t.TempDir(), "p.db"))
		status := a.exit(a.runVehicle(context.Background(), lookOf(sim, obd.BusUnknown), ""))
		for _, text := range want {
			if !strings.Contains(errOut.String(), text) || status != statusFailed || out.Len() > 0 {
				t.Errorf("%s: status %d, %q on standard output, said %q, without %q", name, status, out, errOut, text)
			}
		}
	}
}
