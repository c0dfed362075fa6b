package main

import (
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
	"pushback/store"
)

var soak = flag.Duration("soak", 20*time.Minute, "session time of TestSoak; 24h takes some minutes")

const soaking = "PUSHBACK_SOAKING"

// A long session from the simulated car to the disk, in accelerated time: memory stays what it is
// when what is kept of the past is full (after a tenth, or some minutes), and no goroutine or file is left. The memory is what the
// process itself holds, Go's and SQLite's; its program file, 24 MB of pages that the system
// shares and may drop, comes on top where Linux counts what is resident.
//
//	go test ./cmd/pushback -run TestSoak -soak 24h -v -timeout 1h
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("drives for hours")
	}
	if os.Getenv(soaking) == "" { // a process of its own, whose memory no other test has used
		c := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestSoak$", "-test.v", "-soak="+soak.String())
		c.Env = append(os.Environ(), soaking+"=1")
		out, err := c.CombinedOutput()
		if t.Logf("%s", out); err != nil {
			t.Error(err)
		}
		return
	}
	ctx := context.Background()
	goroutines, files := runtime.NumGoroutine(), openFiles(t)
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Bus: obd.CAN11at500, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "p.db")
	soundAtEnd(t, path)
	db, err := store.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	a := obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: "B1S1", Bus: obd.CAN11at500})
	if err != nil {
		t.Fatal(err)
	}
	w, err := db.Create(ctx, store.Meta{Started: time.Now(), Format: p.Vehicle().Format, Watching: "B1S1", By: "wire", Origin: "simulated"})
	if err != nil {
		t.Fatal(err)
	}
	judge := session.NewJudge(session.Setup{Sensor: decode.SensorID{Bank: 1, Position: 1}, Format: p.Vehicle().Format})
	debug.FreeOSMemory()
	before := heldMB(t)
	held := &memorySink{t: t, every: *soak / 20}
	res, err := session.Run(ctx, p, judge, rig.Stored{Writer: w}, &rig.StopAfter{At: *soak, Stop: p.Stop}, held)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Finish(ctx, res.End, why.Verdict(res.Verdict), why.Events(res.Events)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(a.Close(ctx), db.Close()); err != nil {
		t.Fatal(err)
	}
	fi, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	hours := res.End.Hours()
	for i := range held.mb {
		held.mb[i] -= before
	}
	full := max(len(held.mb)/10, int(pastFull/held.every)+1)
	early, most, late := held.mb[full], slices.Max(held.mb), held.mb[len(held.mb)-1]
	t.Logf("%v of session time: %d records (%.0f a second), %d events; memory %d MB when the past is full, at most %d, at the end %d; %.1f MB an hour on the disk",
		res.End.Round(time.Second), res.Records, float64(res.Records)/res.End.Seconds(), len(res.Events), early, most, late, float64(fi.Size())/hours/(1<<20))
	if raceDetector() {
		t.Log("with the race detector, which takes memory itself: not compared")
	} else if late > early+8 || most > 40 {
		t.Errorf("the memory grows: MB at each twentieth %v", held.mb)
	}
	for range 100 { // what database/sql ends, it ends a moment later
		if runtime.NumGoroutine() <= goroutines {
			break
		}
		runtime.Gosched()
		time.Sleep(time.Millisecond)
	}
	if n := runtime.NumGoroutine(); n > goroutines {
		t.Errorf("%d goroutines, %d before", n, goroutines)
	}
	if n := openFiles(t); n > files {
		t.Errorf("%d open files, %d before", n, files)
	}
}

// pastFull is after how long all that a session keeps of its past has its full size at some 60 records a second:
// the readings that the watcher looks back at, SQLite's pages, Go's room for what is thrown away.
const pastFull = 6 * time.Minute

// memorySink notes at intervals how many MB the process holds.
type memorySink struct {
	t           *testing.T
	every, next time.Duration
	mb          []int
}

func (h *memorySink) Write(f session.Frame) error {
	if f.Record.At >= h.next {
		h.next += h.every
		h.mb = append(h.mb, heldMB(h.t))
	}
	return nil
}

// heldMB is the resident memory of the process without its files; where the system does
// not tell, what Go has taken.
func heldMB(t *testing.T) int {
	text, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(text)) {
		if kb, ok := strings.CutPrefix(line, "RssAnon:"); ok {
			n, err := strconv.Atoi(strings.Fields(kb)[0])
			if err != nil {
				t.Fatal(err)
			}
			return n >> 10
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int((m.Sys - m.HeapReleased) >> 20)
}

// openFiles counts the files that the process has open; 0 where that cannot be known.
func openFiles(t *testing.T) int {
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(list)
}

// raceDetector reports whether the test was built with it.
func raceDetector() bool {
	info, ok := debug.ReadBuildInfo()
	return ok && slices.Contains(info.Settings, debug.BuildSetting{Key: "-race", Value: "true"})
}
