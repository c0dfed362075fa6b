package main

import (
	"context"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"pushback/cmd/internal/session"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
	"pushback/store"
)

var soak = flag.Duration("soak", 20*time.Minute, "session time of TestSoak; 24h takes some minutes")

// A long session from the simulated car to the disk, in accelerated time: memory stays
// what it is after a tenth of it, and no goroutine or file is left.
//
//	go test ./cmd/pushback -run TestSoak -soak 24h -v -timeout 1h
func TestSoak(t *testing.T) {
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
	judge, err := session.NewJudge(watchConfig("B1S1", false), p.Vehicle().Format)
	if err != nil {
		t.Fatal(err)
	}
	heap := &heapSink{every: *soak / 20}
	res, err := session.Run(ctx, p, judge, stored{w}, &stopAfter{*soak, p.Stop}, heap)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Finish(ctx, res.End, res.Verdict, res.Events); err != nil {
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
	t.Logf("%v of session time: %d records (%.0f a second), %d events; heap %v MB; system memory %d MB; %.1f MB an hour",
		res.End.Round(time.Second), res.Records, float64(res.Records)/res.End.Seconds(), len(res.Events), heap.mb, heap.sys, float64(fi.Size())/hours/(1<<20))

	early, late := heap.mb[2], heap.mb[len(heap.mb)-1]
	if late > early+8 || late > 40 {
		t.Errorf("the heap grows from %d to %d MB", early, late)
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

// heapSink notes at intervals how much of the heap is in use after a collection.
type heapSink struct {
	every, next time.Duration
	mb          []uint64
	sys         uint64
}

func (h *heapSink) Write(f session.Frame) error {
	if f.Record.At < h.next {
		return nil
	}
	h.next += h.every
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	h.mb = append(h.mb, m.HeapAlloc>>20)
	h.sys = max(h.sys, m.Sys>>20)
	return nil
}

// openFiles counts the files that the process has open; 0 where that cannot be known.
func openFiles(t *testing.T) int {
	list, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return 0
	}
	return len(list)
}
