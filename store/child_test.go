package store

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis"
	"pushback/obd"
)

// child is the body of the process that tests kill, let run out of disk, or whose
// power they cut: it appends records and says on standard output, or in the log of
// testdata/powerloss.c, what was committed.
//
//	PUSHBACK_STORE_CHILD    the database
//	PUSHBACK_STORE_RECORDS  end after so many, in small commits; else never
//	PUSHBACK_STORE_PACE     append one each so long, in life's time
//	PUSHBACK_STORE_BUSY     how long to wait for another program's lock
//	PUSHBACK_STORE_STOP     end when this file is there, and say where the recording is
func child(path string) error {
	ctx := context.Background()
	say := func(seq int64) { fmt.Println(seq) }
	if p := os.Getenv("POWERLOSS_LOG"); p != "" {
		log, err := os.OpenFile(p, os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			return err
		}
		say = func(seq int64) {
			var b [4 * 8]byte
			binary.LittleEndian.PutUint64(b[:], 'A')
			binary.LittleEndian.PutUint64(b[16:], uint64(seq))
			log.Write(b[:])
		}
	}
	if d, err := time.ParseDuration(os.Getenv("PUSHBACK_STORE_BUSY")); err == nil {
		busyTimeout = d
	}
	s, err := Open(ctx, path)
	if err != nil {
		return err
	}
	w, err := s.Create(ctx, meta)
	if err != nil {
		return err
	}
	w.mu.Lock()
	w.onCommit = say
	w.mu.Unlock()
	records, _ := strconv.ParseInt(os.Getenv("PUSHBACK_STORE_RECORDS"), 10, 64)
	if records > 0 {
		if _, err := s.w.Exec("pragma wal_autocheckpoint = 20"); err != nil {
			return err
		}
	}
	pace, _ := time.ParseDuration(os.Getenv("PUSHBACK_STORE_PACE"))
	began := time.Now()
	stop := os.Getenv("PUSHBACK_STORE_STOP")
	for seq := int64(0); records == 0 || seq < records; seq++ {
		if stop != "" && seq%50 == 0 {
			if _, err := os.Stat(stop); err == nil {
				break
			}
		}
		rec := crashRecord(seq)
		if pace > 0 {
			time.Sleep(time.Until(began.Add(time.Duration(seq) * pace)))
			rec = exchange(seq, time.Since(began).Truncate(time.Microsecond), strconv.FormatInt(time.Now().UnixNano(), 10))
		}
		if err := w.Append(rec, samplesOf(rec, float64(seq))); err != nil {
			return err
		}
		if records > 0 && seq%25 == 24 {
			select {
			case w.kick <- struct{}{}:
			case <-w.stopped:
			}
		}
	}
	err = w.Finish(ctx, time.Hour, analysis.Verdict{Conclusion: analysis.LoopProven}, nil)
	var rescued *RescuedError
	if errors.As(err, &rescued) {
		fmt.Println(rescued.Path)
		s.Close()
		return nil
	} else if err != nil {
		return err
	}
	return s.Close()
}

func crashRecord(seq int64) obd.Record {
	return exchange(seq, time.Duration(seq)*time.Millisecond, fmt.Sprintf("41 14 %08X", seq))
}

// checkCommitted sees to it that the newest session is whole up to the record that
// was said to be committed, and holds nothing wrong beyond.
func checkCommitted(t *testing.T, s *Store, what string, committed int64) {
	t.Helper()
	list, err := s.List(context.Background(), Filter{Limit: 1})
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	if len(list) == 0 {
		if committed >= 0 {
			t.Errorf("%s: no session, committed were %d records", what, committed+1)
		}
		return
	}
	all := readAll(t, s, list[0].ID)
	if int64(len(all)) <= committed {
		t.Errorf("%s: %d records, committed were %d", what, len(all), committed+1)
	}
	for i, rec := range all {
		if diff := cmp.Diff(crashRecord(int64(i)), rec); diff != "" {
			t.Errorf("%s: record %d: %s", what, i, diff)
			return
		}
	}
}
