//go:build unix

package smallfile

import (
	"errors"
	"path/filepath"
	"syscall"
	"testing"
)

// A pipe to which nobody writes keeps nobody waiting.
func TestReadPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Skip(err)
	}
	if _, err := Read(path, 100); !errors.Is(err, ErrNotSmall) {
		t.Error(err)
	}
}
