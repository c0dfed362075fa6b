package store

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var tuesday = Visit{
	Name: "Tuesday van", Vehicle: "grey van", Complaint: "idles rough when warm", Odometer: "123 456 km", Order: "AB 12",
	Opened: time.Date(2026, 3, 3, 8, 0, 0, 0, time.FixedZone("", 3600)),
	Done:   []VisitEntry{{time.Date(2026, 3, 3, 9, 30, 0, 0, time.UTC), "intake hose replaced"}},
}

func TestVisit(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	if err := s.NewVisit(ctx, tuesday); err != nil {
		t.Fatal(err)
	}
	if v, err := s.Visit(ctx, "  TUESDAY  van"); err != nil || !cmp.Equal(v, tuesday) {
		t.Error(err, cmp.Diff(tuesday, v))
	}
	for name, want := range map[string]error{"Tuesday Van": ErrVisitExists, "last": nil, " ": nil, strings.Repeat("x", 100): nil} {
		v := tuesday
		v.Name = name
		if err := s.NewVisit(ctx, v); err == nil || want != nil && !errors.Is(err, want) {
			t.Errorf("%q: %v", name, err)
		}
	}

	m := meta
	m.Visit = &Visit{Name: "tuesday van"}
	in := create(t, s, m)
	out := create(t, s, meta)
	if err := errors.Join(in.Close(), out.Close()); err != nil {
		t.Fatal(err)
	}
	ids := func(visit string) (all []string) {
		t.Helper()
		list, err := s.List(ctx, Filter{Visit: visit})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range list {
			if visit != "" && !cmp.Equal(m.Visit.Name, tuesday.Name) {
				t.Errorf("%+v", m.Visit)
			}
			all = append(all, m.ID)
		}
		return all
	}
	if got := ids("last"); !cmp.Equal(got, []string{in.ID()}) {
		t.Error(got)
	}
	if err := s.Edit(ctx, out.ID(), func(m *Meta) { m.Visit = &Visit{Name: "Tuesday van"} }); err != nil {
		t.Error(err)
	}
	if got := ids("Tuesday van"); !cmp.Equal(got, []string{out.ID(), in.ID()}) {
		t.Error(got)
	}
	if err := s.Edit(ctx, in.ID(), func(m *Meta) { m.Visit = nil }); err != nil || len(ids("last")) != 1 {
		t.Errorf("%v, %v", err, ids("last"))
	}
	m.Visit = &Visit{Name: "none such"}
	if _, err := s.Create(ctx, m); !errors.Is(err, ErrNoVisit) {
		t.Error(err)
	}
	if err := s.Edit(ctx, in.ID(), func(to *Meta) { to.Visit = m.Visit }); !errors.Is(err, ErrNoVisit) {
		t.Error(err)
	}
	if _, err := s.List(ctx, Filter{Visit: "none such"}); !errors.Is(err, ErrNoVisit) {
		t.Error(err)
	}

	closed := tuesday.Opened.Add(5 * time.Hour)
	if err := s.EditVisit(ctx, "last", func(v *Visit) {
		v.Closed = closed
		v.Done = append(v.Done, VisitEntry{closed, "tested again"})
	}); err != nil {
		t.Fatal(err)
	}
	if v, err := s.Visit(ctx, "last"); err != nil || !v.Closed.Equal(closed) || len(v.Done) != 2 {
		t.Errorf("%+v, %v", v, err)
	}
	for i, f := range []VisitFilter{{Open: true}, {Text: "nothing"}, {Text: "%"}} {
		if list, err := s.Visits(ctx, f); err != nil || len(list) != 0 {
			t.Errorf("%d: %+v, %v", i, list, err)
		}
	}
	if list, err := s.Visits(ctx, VisitFilter{Text: "ab 12", Limit: 1}); err != nil || len(list) != 1 {
		t.Errorf("%+v, %v", list, err)
	}
	var sessions int
	var done, of string
	if err := s.r.QueryRow(`select sessions, done, (select visit from session_summary where id = ?) from visit_summary`, out.ID()).Scan(&sessions, &done, &of); err != nil ||
		sessions != 1 || !strings.Contains(done, "intake hose") || of != tuesday.Name {
		t.Errorf("%d, %q, %q, %v", sessions, done, of, err)
	}
	if _, err := s.w.ExecContext(ctx, `delete from visit`); err != nil { // by another program: the trigger lets its sessions go
		t.Error(err)
	}
	if m, err := s.Find(ctx, out.ID()); err != nil || m.Visit != nil {
		t.Errorf("%+v, %v", m.Visit, err)
	}
	var left int
	if err := s.r.QueryRow(`select count(*) from visit_entry`).Scan(&left); err != nil || left != 0 {
		t.Errorf("%d entries left, %v", left, err)
	}
}

// A session that comes from another database brings its visit. The same visit grows by what was
// done in either; another of the same name is told from it.
func TestVisitComes(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, newPath(t))
	bring := func(v Visit) string {
		t.Helper()
		m := meta
		m.Visit = &v
		w := create(t, s, m)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		m, err := s.Find(ctx, w.ID())
		if err != nil {
			t.Fatal(err)
		}
		return m.Visit.Name
	}
	again := tuesday
	again.Done = []VisitEntry{tuesday.Done[0], {tuesday.Opened.Add(time.Hour), "tested again"}}
	again.Closed = tuesday.Opened.Add(2 * time.Hour)
	other := tuesday
	other.Opened = tuesday.Opened.AddDate(0, 0, 7)
	for i, c := range []struct {
		v    Visit
		want string
	}{{tuesday, "Tuesday van"}, {again, "Tuesday van"}, {tuesday, "Tuesday van"}, {other, "Tuesday van (2)"}, {other, "Tuesday van (2)"}} {
		if got := bring(c.v); got != c.want {
			t.Errorf("%d: %q, want %q", i, got, c.want)
		}
	}
	if v, err := s.Visit(ctx, "Tuesday van"); err != nil || !cmp.Equal(v, again) {
		t.Error(err, cmp.Diff(again, v))
	}
	if list, err := s.Visits(ctx, VisitFilter{}); err != nil || len(list) != 2 {
		t.Errorf("%+v, %v", list, err)
	}
}

// A recording that was rescued from its side file has its visit.
func TestVisitInSideFile(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	s := openTest(t, path)
	if err := s.NewVisit(ctx, tuesday); err != nil {
		t.Fatal(err)
	}
	m := meta
	m.Visit = &Visit{Name: tuesday.Name}
	w := create(t, s, m)
	if v, err := w.side.s.Visit(ctx, "last"); err != nil || !cmp.Equal(v, tuesday) {
		t.Error(err, cmp.Diff(tuesday, v))
	}
	if err := w.Close(); err != nil {
		t.Error(err)
	}
}
