package store

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"testing"
	"time"
)

var kills = flag.Int("kills", 6, "how often to kill the recorder in TestKill")

// A process that writes is killed: what it had committed is there, in order and
// whole, and the session reads as unfinished. Every second process writes as fast as
// it can, the others a record a millisecond, which shows how much a kill costs: the
// log has it; no limit is set here, since it is a timing.
func TestKill(t *testing.T) {
	if testing.Short() {
		t.Skip("kills a program again and again")
	}
	path := newPath(t)
	var lost []time.Duration
	for run := range *kills {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "PUSHBACK_STORE_CHILD="+path)
		paced := run%2 == 1
		if paced {
			cmd.Env = append(cmd.Env, "PUSHBACK_STORE_PACE=1ms")
		}
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		committed := int64(-1)
		var killed time.Time
		lines := bufio.NewScanner(out)
		for n := 0; lines.Scan(); n++ {
			if committed, err = strconv.ParseInt(lines.Text(), 10, 64); err != nil {
				t.Fatal(lines.Text())
			}
			if n == run%4 { // read on what it had said
				// When in the time between two commits does not matter for what must hold.
				time.Sleep(rand.N(commitEvery))
				killed = time.Now()
				cmd.Process.Kill()
			}
		}
		cmd.Wait()

		s, err := Open(context.Background(), path)
		if err != nil {
			t.Fatal(err)
		}
		m, err := s.Find(context.Background(), "last")
		if err != nil || m.Finished {
			t.Fatalf("%+v, %v", m, err)
		}
		if paced {
			if all := readAll(t, s, m.ID); int64(len(all)) <= committed {
				t.Errorf("run %d: %d records, committed were %d", run, len(all), committed+1)
			} else {
				at, err := strconv.ParseInt(string(all[len(all)-1].Exchange.Raw), 10, 64)
				if err != nil {
					t.Fatal(err)
				}
				lost = append(lost, max(0, killed.Sub(time.Unix(0, at))))
			}
		} else {
			checkCommitted(t, s, fmt.Sprintf("run %d", run), committed)
		}
		var records, samples int
		if err := s.r.QueryRow(`select (select count(*) from record where session = n), (select count(*) from sample where session = n)
			from session where id = ?`, m.ID).Scan(&records, &samples); err != nil || samples != 2*records {
			t.Errorf("run %d: %d samples of %d records, %v", run, samples, records, err)
		}
		err = s.Remove(context.Background(), m.ID) // the file need not grow with the number of runs
		if err := errors.Join(err, s.Close()); err != nil {
			t.Fatal(err)
		}
		if run < 20 || run%100 == 0 {
			checkIntegrity(t, path)
		}
		if t.Failed() {
			return
		}
	}
	slices.Sort(lost)
	if n := len(lost); n > 0 {
		t.Logf("%d kills; lost before the kill: half of them at most %v, 99 of 100 %v, the worst %v", *kills,
			lost[n/2].Round(time.Millisecond), lost[n*99/100].Round(time.Millisecond), lost[n-1].Round(time.Millisecond))
	}
}

// A process that is killed while it makes the file leaves one that opens.
func TestKillWhileMaking(t *testing.T) {
	if testing.Short() {
		t.Skip("kills a program again and again")
	}
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
