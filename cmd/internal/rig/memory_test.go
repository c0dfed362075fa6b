package rig

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
	"pushback/obd/poll"
)

func TestMemory(t *testing.T) {
	db := filepath.Join(t.TempDir(), "deep", "p.db")
	m := MemoryBeside(db)
	if len(m.Recall("a")) > 0 {
		t.Error("remembers what it never saw")
	}
	car := poll.Car{Known: obd.Known{Format: obd.Format{Bus: obd.VPW, Headers: true}, Counts: true}, Replies: []poll.Reply{{Request: "0100", From: 0x10, Data: []byte{0x41, 0}}}}
	m.Remember("a", car)
	if d := cmp.Diff([]poll.Car{car}, MemoryBeside(db).Recall("a")); d != "" { // another process
		t.Error(d)
	}
	other := car
	other.Known.Format.Bus = obd.PWM
	m.Remember("a", other)
	m.Remember("a", car)
	if d := cmp.Diff([]poll.Car{car, other}, m.Recall("a")); d != "" {
		t.Error("the latest does not come first:", d)
	}
	for i := range 2 * maxRemembered {
		m.Remember(fmt.Sprint(i), car)
	}
	if n := len(m.read()); n != maxRemembered {
		t.Errorf("%d entries", n)
	}
	if len(m.Recall(fmt.Sprint(2*maxRemembered-1))) == 0 {
		t.Error("forgot the latest")
	}

	for _, rubbish := range []string{"", "null", "{", `{"a":3}`, `{"a":{"cars":7}}`, "\x00\xff"} {
		if err := os.WriteFile(m.path, []byte(rubbish), 0o600); err != nil {
			t.Fatal(err)
		}
		if len(m.Recall("a")) > 0 {
			t.Errorf("%q remembers a car", rubbish)
		}
		m.Remember("a", car)
		if len(m.Recall("a")) != 1 {
			t.Errorf("after %q nothing is kept", rubbish)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(db), ".cars-*")); len(left) > 0 {
		t.Errorf("left behind %q", left)
	}
}

// A file of the time when an entry held one car is still read.
func TestMemoryOfOneCar(t *testing.T) {
	m := MemoryBeside(filepath.Join(t.TempDir(), "p.db"))
	old := `{"a":{"car":{"Known":{"Format":{"Bus":3,"Headers":true},"Counts":true},"Replies":[{"Request":"0100","From":16,"Data":"QQA="}]},"used":"2026-01-02T03:04:05Z"}}`
	if err := os.WriteFile(m.path, []byte(old), 0o600); err != nil {
		t.Fatal(err)
	}
	want := []poll.Car{{Known: obd.Known{Format: obd.Format{Bus: obd.ISO9141, Headers: true}, Counts: true},
		Replies: []poll.Reply{{Request: "0100", From: 0x10, Data: []byte{0x41, 0}}}}}
	if d := cmp.Diff(want, m.Recall("a")); d != "" {
		t.Fatal(d)
	}
	m.Remember("a", want[0])
	if d := cmp.Diff(want, m.Recall("a")); d != "" {
		t.Error(d)
	}
}

// However much is remembered, the file is one that is read again.
func TestMemoryKeepsItsSize(t *testing.T) {
	m := MemoryBeside(filepath.Join(t.TempDir(), "p.db"))
	for i := range 3 * poll.MaxCars {
		m.Remember("huge", poll.Car{Replies: []poll.Reply{{Request: "0100", From: uint32(i), Data: make([]byte, 20_000)}}})
	}
	if n := len(m.Recall("huge")); n != poll.MaxCars {
		t.Errorf("%d cars", n)
	}
	for i := range 2 * poll.MaxCars {
		m.Remember("second", poll.Car{Replies: []poll.Reply{{Request: "0100", From: uint32(i), Data: make([]byte, 40_000)}}})
	}
	if len(m.Recall("second")) != poll.MaxCars || len(m.Recall("huge")) > 0 {
		t.Errorf("%d and %d cars", len(m.Recall("second")), len(m.Recall("huge")))
	}
}
