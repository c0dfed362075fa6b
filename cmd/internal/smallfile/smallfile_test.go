package smallfile

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "f")
	if err := os.WriteFile(path, []byte("12345678"), 0o600); err != nil {
		t.Fatal(err)
	}
	if b, err := Read(path, 8); string(b) != "12345678" || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	for name, most := range map[string]int64{path: 7, os.DevNull: 7, t.TempDir(): 7} {
		if b, err := Read(name, most); err == nil || len(b) > 8 {
			t.Errorf("%s: %q, %v", name, b, err)
		}
	}
	if _, err := Read(path+"x", 7); !errors.Is(err, os.ErrNotExist) {
		t.Error(err)
	}
}
