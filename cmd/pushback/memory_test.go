package main

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
	m := memoryBeside(db)
	if _, ok := m.Recall("a"); ok {
		t.Error("remembers what it never saw")
	}
	car := poll.Car{Known: obd.Known{Format: obd.Format{Bus: obd.VPW, Headers: true}, Counts: true}, Replies: []poll.Reply{{Request: "0100", From: 0x10, Data: []byte{0x41, 0}}}}
	m.Remember("a", car)
	got, ok := memoryBeside(db).Recall("a") // another process
	if d := cmp.Diff(car, got); !ok || d != "" {
		t.Error(ok, d)
	}
	for i := range 2 * maxRemembered {
		m.Remember(fmt.Sprint(i), car)
	}
	if n := len(m.read()); n != maxRemembered {
		t.Errorf("%d entries", n)
	}
	if _, ok := m.Recall(fmt.Sprint(2*maxRemembered - 1)); !ok {
		t.Error("forgot the latest")
	}

	for _, rubbish := range []string{"", "null", "{", `{"a":3}`, "\x00\xff"} {
		if err := os.WriteFile(m.path, []byte(rubbish), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, ok := m.Recall("a"); ok {
			t.Errorf("%q remembers a car", rubbish)
		}
		m.Remember("a", car)
		if _, ok := m.Recall("a"); !ok {
			t.Errorf("after %q nothing is kept", rubbish)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(db), ".cars-*")); len(left) > 0 {
		t.Errorf("left behind %q", left)
	}
}
