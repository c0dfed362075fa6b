package transfer

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"pushback/store"
)

// A file is there whole, for its owner only, or as it was before.
func TestToFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "x")
	text := func(s string, end error) func(io.Writer) error {
		return func(w io.Writer) error {
			_, err := io.WriteString(w, s)
			return errors.Join(err, end)
		}
	}
	if err := ToFile(path, text("first", nil)); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken off")
	if err := ToFile(path, text("half of the sec", broken)); !errors.Is(err, broken) {
		t.Error(err)
	}
	if b, err := os.ReadFile(path); err != nil || string(b) != "first" {
		t.Errorf("%q, %v", b, err)
	}
	if fi, err := os.Stat(path); err != nil || fi.Mode().Perm()&0o077 != 0 {
		t.Errorf("%v, %v", fi, err)
	}
	if list, _ := os.ReadDir(dir); len(list) != 1 {
		t.Errorf("left behind: %v", list)
	}
	if err := ToFile(filepath.Join(dir, "no", "folder"), text("", nil)); err == nil {
		t.Error("a file in a folder that is not there")
	}
}

// A description carries the visit; without notes nothing of it that a person wrote about the
// car's owner, without VIN no VIN.
func TestVisitIsDescribed(t *testing.T) {
	at := time.Date(2026, 3, 3, 8, 0, 0, 0, time.UTC)
	v := store.Visit{Name: "van", Vehicle: "van 1M8GDM9AXKP042788", Complaint: "rough", Odometer: "1 km", Order: "AB 12", Opened: at,
		Done: []store.VisitEntry{{At: at, Text: "hose"}}}
	s := Session{Meta: store.Meta{ID: "b7kqrt", Visit: &v}}
	for _, c := range []struct {
		vin, notes bool
		want       store.Visit
	}{
		{true, true, v},
		{false, false, store.Visit{Name: "van", Vehicle: "van [VIN]", Odometer: "1 km", Opened: at}},
	} {
		text, err := Describe(Redact(s, c.vin, c.notes).Meta)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Described(text)
		if err != nil || back.Visit == nil || !reflect.DeepEqual(*back.Visit, c.want) {
			t.Errorf("%s: %+v, %v", text, back.Visit, err)
		}
	}
	if len(v.Done) != 1 || v.Order == "" {
		t.Error("the session itself was changed")
	}
}
