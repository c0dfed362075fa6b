package analysis_test

import (
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The scripts golden.py and golden.R, which made tables in testdata, run again on the same data where
// what they need is installed: SciPy 1.10 or later, and R with MASS, sandwich and boot.
func TestReferencesAgain(t *testing.T) {
	scripts, err := filepath.Glob("*/testdata/golden.*")
	if err != nil || len(scripts) == 0 {
		t.Fatal(scripts, err)
	}
	for _, script := range scripts {
		var run []string
		switch filepath.Ext(script) {
		case ".py":
			run = []string{python(), filepath.Base(script)}
		case ".R":
			run = []string{rscript(), filepath.Base(script)}
		default:
			continue // a table
		}
		t.Run(filepath.ToSlash(script), func(t *testing.T) {
			t.Parallel()
			if run[0] == "" {
				t.Skip("what it needs is not installed")
			}
			from, dir := filepath.Dir(script), t.TempDir()
			if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
				t.Fatal(err)
			}
			copies, _ := filepath.Glob(filepath.Join(dir, "*.csv"))
			for _, name := range copies {
				if err := os.Chtimes(name, long, long); err != nil {
					t.Fatal(err)
				}
			}
			c := exec.CommandContext(t.Context(), run[0], run[1:]...)
			c.Dir = dir
			if out, err := c.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			tables, _ := filepath.Glob(filepath.Join(from, "*.csv"))
			written := 0
			for _, name := range tables {
				again := filepath.Join(dir, filepath.Base(name))
				if fi, err := os.Stat(again); err != nil || fi.ModTime().Equal(long) {
					continue // another's
				}
				written++
				compare(t, name, again)
			}
			if written == 0 {
				t.Error("it wrote nothing")
			}
		})
	}
}

// long is the time of the tables before a script writes its own.
var long = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// python is one that has SciPy, "" if none has.
func python() string {
	for _, p := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(p, "-c", "import scipy").Run() == nil {
			return p
		}
	}
	return ""
}

func rscript() string {
	if exec.Command("Rscript", "-e", "library(MASS); library(sandwich); library(boot)").Run() != nil {
		return ""
	}
	return "Rscript"
}

// compare holds two tables to each other, numbers to seven digits.
func compare(t *testing.T, kept, again string) {
	t.Helper()
	read := func(name string) [][]string {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		r := csv.NewReader(f)
		r.FieldsPerRecord = -1
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return rows
	}
	want, got := read(kept), read(again)
	if len(want) != len(got) {
		t.Errorf("%s has %d rows, now %d", kept, len(want), len(got))
		return
	}
	for i := range want {
		if len(want[i]) != len(got[i]) {
			t.Errorf("%s: row %d is %v, now %v", kept, i+1, want[i], got[i])
			continue
		}
		for k := range want[i] {
			a, errA := strconv.ParseFloat(strings.TrimSpace(want[i][k]), 64)
			b, errB := strconv.ParseFloat(strings.TrimSpace(got[i][k]), 64)
			if same := want[i][k] == got[i][k]; !same && (errA != nil || errB != nil || math.Abs(a-b) > 1e-7*math.Max(1, math.Abs(a))) {
				t.Errorf("%s: row %d is %v, now %v", kept, i+1, want[i], got[i])
				break
			}
		}
	}
}
