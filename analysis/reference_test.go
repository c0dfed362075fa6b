package analysis_test

import (
	"encoding/csv"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The scripts that made tables in testdata run again on the same data where what they need
// is installed: SciPy 1.10 or later, and R with MASS, sandwich, boot, segmented and spc.
func TestReferencesAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("asks R and SciPy again")
	}
	var scripts []string
	for _, kind := range []string{"*.py", "*.R"} {
		found, err := filepath.Glob("*/testdata/" + kind)
		if err != nil || len(found) == 0 {
			t.Fatal(kind, found, err)
		}
		scripts = append(scripts, found...)
	}
	for _, script := range scripts {
		run := []string{"", filepath.Base(script)}
		if filepath.Ext(script) == ".R" {
			run[0] = rscript(t, script)
		} else {
			run[0] = python()
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

// rscript is R if it has the packages that a script names, else "".
func rscript(t *testing.T, script string) string {
	t.Helper()
	text, err := os.ReadFile(script)
	if err != nil {
		t.Fatal(err)
	}
	packages := regexp.MustCompile(`library\(\w+\)`).FindAllString(string(text), -1)
	if len(packages) == 0 {
		t.Fatalf("%s names no package", script)
	}
	if exec.Command("Rscript", "-e", strings.Join(packages, ";")).Run() != nil {
		return ""
	}
	return "Rscript"
}

// compare holds two tables to each other, numbers to seven digits; what a search has found,
// to as many as it ends at.
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
	tolerance := 1e-7
	if filepath.Base(kept) == "hinge_fit.csv" {
		tolerance = 1e-5
	}
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
			if same := want[i][k] == got[i][k]; !same && (errA != nil || errB != nil || math.Abs(a-b) > tolerance*math.Max(1, math.Abs(a))) {
				t.Errorf("%s: row %d is %v, now %v", kept, i+1, want[i], got[i])
				break
			}
		}
	}
}
