package transfer

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
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
