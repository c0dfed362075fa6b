package accuracy

import (
	"bufio"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/store/widecsv"
)

// Cars, technicians and their truth in Python, written by others without reading the
// watcher or obd/simcar; see foreign/README.md.
//
//go:embed foreign/*.py
var foreignModel embed.FS

// foreignRates are the readings/s that the recordings have in turn.
const foreignRates = "2,4,10,20"

// Foreign has Python make the recordings of n seeds and judges each as it comes.
func Foreign(from uint64, n int, progress func(done int)) ([]Result, error) {
	dir, err := os.MkdirTemp("", "pushback-foreign-*")
	if err != nil {
		return nil, fmt.Errorf("make recordings: %w", err)
	}
	defer os.RemoveAll(dir)
	if err := unpackForeign(dir); err != nil {
		return nil, err
	}
	procs := min(runtime.GOMAXPROCS(0), n)
	lists, errs := make([][]Result, procs), make([]error, procs)
	var wg sync.WaitGroup
	var mu sync.Mutex
	done := 0
	for k := range procs {
		wg.Go(func() {
			lists[k], errs[k] = foreignPart(dir, from+uint64(k), from+uint64(n), procs, func() {
				mu.Lock()
				defer mu.Unlock()
				if done++; progress != nil {
					progress(done)
				}
			})
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return inOrder(lists), nil
}

func unpackForeign(dir string) error {
	entries, err := foreignModel.ReadDir("foreign")
	if err != nil {
		return err
	}
	for _, e := range entries {
		text, err := foreignModel.ReadFile("foreign/" + e.Name())
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, e.Name()), text, 0o600)
		}
		if err != nil {
			return fmt.Errorf("make recordings: %w", err)
		}
	}
	return nil
}

// foreignPart makes and judges the recordings of the seeds from, from+step, … below to.
func foreignPart(dir string, from, to uint64, step int, judged func()) ([]Result, error) {
	text := func(n uint64) string { return strconv.FormatUint(n, 10) }
	cmd := exec.Command("python3", filepath.Join(dir, "record.py"), dir, text(from), text(to), strconv.Itoa(step), foreignRates)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return nil, fmt.Errorf("make recordings with python3 (is it installed?): %w", err)
	}
	var list []Result
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		var t truth.Test
		r := Result{Outcome: truth.Broken}
		if err := json.Unmarshal(lines.Bytes(), &t); err != nil {
			r.Err = fmt.Errorf("read what is known of a recording: %w", err)
		} else {
			r = judgeTable(&t, filepath.Join(dir, text(t.Seed)+".csv"))
		}
		list = append(list, r)
		judged()
	}
	if err := errors.Join(lines.Err(), cmd.Wait()); err != nil {
		return nil, fmt.Errorf("make recordings with python3: %w", err)
	}
	return list, nil
}

// judgeTable judges the wide table at path, and removes it.
func judgeTable(t *truth.Test, path string) Result {
	f, err := widecsv.Open(path, widecsv.Mapping{})
	if err != nil {
		return Result{Seed: t.Seed, Outcome: truth.Broken, Err: err}
	}
	r := Judge(t, f)
	if err := errors.Join(f.Close(), os.Remove(path)); err != nil && r.Err == nil {
		r.Err = err
	}
	return r
}
