package main

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pushback/cmd/internal/intake"
	"pushback/store/widecsv"
)

func someCars(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := run(t.Context(), strings.Fields("cars -to "+dir+" -n 24 -part 2 -for 4s")); err != nil {
		t.Fatal(err)
	}
	return dir
}

func parts(t *testing.T, dir, which string) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(dir, which, "part-*.parquet"))
	if err != nil || len(all) == 0 {
		t.Fatalf("no parts in %s: %v", dir, err)
	}
	return all
}

// told is what the files tell of each session: its id, times told, and content with the stored conclusion.
func told(t *testing.T, dir string) map[string][]string {
	t.Helper()
	found := make(map[string][]string)
	for _, path := range parts(t, dir, "month=*/shop=*") {
		open, err := intake.Opener(path, widecsv.Mapping{})
		if err != nil {
			t.Fatal(err)
		}
		all, err := intake.Read(t.Context(), open, intake.Said{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range all.Sessions {
			if month := "month=" + f.Meta.Started.UTC().Format("2006-01"); !strings.Contains(path, month) {
				t.Errorf("%s has a session of %s", path, month)
			}
			found[f.Meta.ID] = append(found[f.Meta.ID], string(f.Hash)+" "+f.Meta.Conclusion)
		}
	}
	return found
}

// What is laid out has each session, in its month, and keeps it when it is laid out once more.
func TestPartitionsKeepSessions(t *testing.T) {
	dir := someCars(t)
	was := told(t, dir)
	if len(was) != 24 || len(was["s0000001"]) != 2 || was["s0000001"][0] != was["s0000001"][1] || len(was["s0000002"]) != 1 {
		t.Errorf("%d sessions, the first %d times", len(was), len(was["s0000001"]))
	}
	again := t.TempDir()
	for range 2 { // files that were there stay
		if err := run(t.Context(), append([]string{"lay", "-to", again, "-shop", "other"}, parts(t, dir, "month=*/shop=*")...)); err != nil {
			t.Fatal(err)
		}
	}
	for id := range was {
		was[id] = append(was[id], was[id]...)
	}
	if diff := cmp.Diff(was, told(t, again)); diff != "" {
		t.Error(diff)
	}
	if left, _ := filepath.Glob(filepath.Join(again, "*", "*", ".*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestUsage(t *testing.T) {
	for _, args := range []string{"", "lay", "lay -to x", "cars", "fly -to x", "lay -to x -shop ../y f", "cars -to x -part 0"} {
		if strings.Contains(args, "../y") {
			args = strings.Replace(args, "-to x", "-to "+t.TempDir(), 1)
			args = strings.Replace(args, " f", " "+parts(t, someCars(t), "month=*/shop=*")[0], 1)
		}
		if err := run(t.Context(), strings.Fields(args)); err == nil {
			t.Errorf("%q is taken", args)
		}
	}
}

// An engine that is not ours opens only the files of the partitions that it asks for.
func TestEnginesPrune(t *testing.T) {
	duck := os.Getenv("PUSHBACK_DUCKDB")
	if _, err := exec.LookPath("node"); duck == "" || err != nil {
		t.Skip("DuckDB is asked by node, from the folder that PUSHBACK_DUCKDB names")
	}
	script, err := filepath.Abs("../../store/parquet/testdata/ask.mjs")
	if err != nil {
		t.Fatal(err)
	}
	dir := someCars(t)
	cmd := exec.Command("node", script, filepath.Join(dir, "*", "*", "*.parquet"),
		"explain analyze select session from read_parquet(FILE, hive_partitioning = true) where month = '2026-03' and shop = 'shop-4'",
		"select count(distinct session)::int as n from read_parquet(FILE, hive_partitioning = true) where month = '2026-03' and shop = 'shop-4'")
	cmd.Dir, cmd.Stderr = duck, os.Stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(out), "Total Files Read: 1 ") || !strings.Contains(string(out), `[{"n":1}]`) {
		t.Errorf("%s", out)
	}
}

// A worker is killed on the way; the verdicts are those of one process, each counted once.
func TestWorkersLoseNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("starts workers")
	}
	python := "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import distributed").Run(); err != nil {
		t.Skip("Dask distributed is not installed (Debian: python3-distributed)")
	}
	program := filepath.Join(t.TempDir(), "pushback")
	if out, err := exec.Command("go", "build", "-o", program, "../pushback").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	to := t.TempDir()
	cmd := exec.CommandContext(t.Context(), python, "judge.py", someCars(t), to, "--workers", "2", "--pushback", program, "--kill", "--alone")
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "killed worker") || !strings.Contains(string(out), "24 sessions") {
		t.Fatalf("%v: %s", err, out)
	}
	lines := 0
	for _, path := range verdicts(t, to) {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		for d := json.NewDecoder(f); ; lines++ {
			var line struct{ ID, Conclusion, Stored string }
			if err := d.Decode(&line); errors.Is(err, io.EOF) {
				break
			} else if err != nil || line.ID == "" || line.Conclusion == "" || line.Stored == "" {
				t.Fatal(path, line, err)
			}
		}
	}
	if lines != 26 { // two are in two files
		t.Errorf("%d lines", lines)
	}
}

func verdicts(t *testing.T, dir string) []string {
	t.Helper()
	all, err := filepath.Glob(filepath.Join(dir, "run-1", "month=*", "shop=*", "part-*.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	return all
}
