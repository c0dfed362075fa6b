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
)

// The programs that the tables in testdata come from, run again on the same data where they are
// installed: SciPy, and R with MASS, sandwich and boot.
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
			c := exec.CommandContext(t.Context(), run[0], run[1:]...)
			c.Dir = dir
			if out, err := c.CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			tables, _ := filepath.Glob(filepath.Join(from, "*.csv"))
			for _, name := range tables {
				compare(t, name, filepath.Join(dir, filepath.Base(name)))
			}
		})
	}
}

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
