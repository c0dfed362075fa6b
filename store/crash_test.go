package store

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"reflect"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// A process that writes as fast as it can is killed: what it had committed is
// there, in order and whole, and the session reads as unfinished.
func TestKill(t *testing.T) {
	path := newPath(t)
	for run := range 5 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "PUSHBACK_STORE_CHILD="+path)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		committed := int64(-1)
		lines := bufio.NewScanner(out)
		for n := 0; lines.Scan(); n++ {
			if committed, err = strconv.ParseInt(lines.Text(), 10, 64); err != nil {
				t.Fatal(lines.Text())
			}
			if n == run { // killed in the midst of its next batch; read on what it had said
				cmd.Process.Kill()
			}
		}
		cmd.Wait()

		s := openTest(t, path)
		m, err := s.Find(context.Background(), "last")
		if err != nil || m.Finished {
			t.Fatalf("%+v, %v", m, err)
		}
		all := readAll(t, s, m.ID)
		if int64(len(all)) <= committed {
			t.Errorf("run %d: %d records, committed were %d", run, len(all), committed+1)
		}
		for i, rec := range all {
			if !reflect.DeepEqual(rec, crashRecord(int64(i))) {
				t.Fatalf("run %d: record %d: %s", run, i, cmp.Diff(crashRecord(int64(i)), rec))
			}
		}
		var samples int
		if err := s.r.QueryRow(`select count(*) from sample where session = (select max(n) from session)`).Scan(&samples); err != nil || samples != 2*len(all) {
			t.Errorf("run %d: %d samples of %d records, %v", run, samples, len(all), err)
		}
	}
	s := openTest(t, path)
	if list, err := s.List(context.Background(), Filter{}); err != nil || len(list) != 5 {
		t.Errorf("%d sessions, %v", len(list), err)
	}
}

// A process that is killed while it makes the file leaves one that opens.
func TestKillWhileMaking(t *testing.T) {
	for i := range 12 {
		path := newPath(t)
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "PUSHBACK_STORE_CHILD="+path)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(i) * time.Millisecond) // when the blow falls does not matter for what must hold
		cmd.Process.Kill()
		cmd.Wait()
		s := openTest(t, path)
		if err := create(t, s, meta).Close(); err != nil {
			t.Error(err)
		}
	}
}
