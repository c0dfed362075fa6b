package main

import (
	"bytes"
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/store"
)

// A session whose program died in the middle is there, says so, and gets its verdict by
// replay --store: the one that it would have had, had it ended there.
func TestUnfinishedSessionIsJudged(t *testing.T) {
	db := filepath.Join(t.TempDir(), "p.db")
	a, _, errOut := testApp(t, db)
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	if err := guidedRun(t, a, car, obd.CAN11at500, false); err != nil {
		t.Fatalf("%v\n%s", err, errOut)
	}
	s, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	whole, err := s.Find(t.Context(), "last")
	if err != nil {
		t.Fatal(err)
	}
	// What the kill of a process leaves: records, no end. (The store's own tests kill.)
	r, err := s.Records(t.Context(), whole.ID)
	if err != nil {
		t.Fatal(err)
	}
	m := whole
	m.ID, m.Conclusion = "", ""
	w, err := s.Create(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	for rec, err := r.Next(t.Context()); err == nil && rec.At < whole.Duration*6/10; rec, err = r.Next(t.Context()) {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(r.Close(), w.Close()); err != nil {
		t.Fatal(err)
	}

	out, _ := command(t, "sessions", "--json", "--limit", "1", "--db", db)
	if !strings.Contains(out, `"finished":false`) {
		t.Fatal(out)
	}
	var show, hint bytes.Buffer
	if status := run(context.Background(), []string{"show", "last", "--db", db}, strings.NewReader(""), &show, &hint); status != statusFailed || !strings.Contains(hint.String(), "replay "+w.ID()) {
		t.Errorf("status %d: %s", status, hint.String())
	}
	replayed, status := command(t, "replay", "last", "--json", "--db", db)
	if m := metaOf(t, db, "last"); m.Finished {
		t.Error("a replay without --store has changed the session")
	}
	kept, again := command(t, "replay", "last", "--json", "--store", "--db", db)
	if kept != replayed || again != status {
		t.Errorf("with --store it is another one%s", firstDifference(replayed, kept))
	}
	if m := metaOf(t, db, "last"); !m.Finished || m.Conclusion != conclusion(t, replayed) {
		t.Errorf("%+v", m)
	}
	_, lines, _ := strings.Cut(replayed, "\n")
	if got := judgementOf(t, db, "last"); got != lines {
		t.Errorf("show differs from replay%s", firstDifference(lines, got))
	}
}
