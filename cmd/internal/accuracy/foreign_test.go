package accuracy

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/store/widecsv"
)

var update = flag.Bool("update", false, "make the fixed subset of the foreign recordings again, with python3")

// foreignSubset is kept in the tests: the seeds 1 to 32, 13 faults among them.
const (
	foreignSubset = "testdata/foreign.jsonl.gz"
	foreignLast   = 32
)

// kept is a recording in the fixed subset, a line of JSON.
type kept struct {
	truth.Test
	CSV string `json:"csv"`
}

// makeForeign has python3 make the recordings of the seeds from … to-1.
func makeForeign(t *testing.T, from, to int) []kept {
	t.Helper()
	dir := t.TempDir()
	if err := unpackForeign(dir); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("python3", filepath.Join(dir, "record.py"), dir, strconv.Itoa(from), strconv.Itoa(to), "1", foreignRates).Output()
	if err != nil {
		t.Fatal(err)
	}
	var list []kept
	for line := range strings.Lines(string(out)) {
		var k kept
		if err := json.Unmarshal([]byte(line), &k); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(filepath.Join(dir, strconv.FormatUint(k.Seed, 10)+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		k.CSV = string(text)
		list = append(list, k)
	}
	return list
}

func foreignKept(t *testing.T) []kept {
	t.Helper()
	if *update {
		var b bytes.Buffer
		z, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
		for _, k := range makeForeign(t, 1, foreignLast+1) {
			if err := json.NewEncoder(z).Encode(k); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(foreignSubset, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(foreignSubset)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(z)
	lines.Buffer(nil, 1<<20)
	var list []kept
	for lines.Scan() {
		var k kept
		if err := json.Unmarshal(lines.Bytes(), &k); err != nil {
			t.Fatal(err)
		}
		list = append(list, k)
	}
	if lines.Err() != nil {
		t.Fatal(lines.Err())
	}
	return list
}

// A fixed subset of the cars that others wrote must not be judged worse unnoticed:
// the bounds leave room for one bad draw, no more.
func TestForeignSubset(t *testing.T) {
	var list []Result
	for _, k := range foreignKept(t) {
		src, err := widecsv.NewReader(strings.NewReader(k.CSV))
		if err != nil {
			t.Fatal(err)
		}
		r := Judge(&k.Test, src)
		if len(r.FalseProofs) > 0 || r.Outcome == truth.Broken {
			t.Errorf("seed %d, %s: false proofs %v, %v", r.Seed, r.Case, r.FalseProofs, r.Err)
		}
		if r.Outcome == truth.Wrong {
			t.Logf("seed %d, %s at %g readings/s, marks %v: said %s, accepted is %v",
				r.Seed, r.Case, r.Rate, r.Marked, r.Said, k.Accepted)
		}
		list = append(list, r)
	}
	s := SumOf(list)
	if s.N < foreignLast-4 || s.Wrong > 1 || s.Undecided > s.N/8 {
		t.Errorf("%d of %d wrong, %d undecided", s.Wrong, s.N, s.Undecided)
	}
}

// The subset is what the model makes today.
func TestForeignSubsetAgain(t *testing.T) {
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("no python3 here")
	}
	many := 4
	if testing.Short() {
		many = 1
	}
	stored := foreignKept(t)
	for i, k := range makeForeign(t, 1, many) {
		if k.CSV != stored[i].CSV {
			t.Errorf("seed %d: another recording than the one kept; make it again with -update", k.Seed)
		}
	}
}

// A truth sets the three outcomes apart.
func TestOutcome(t *testing.T) {
	k := truth.Test{Accepted: []string{"loop_proven"}, Undecided: []string{"unclear"}, False: map[string][]string{"input": {"failed"}}}
	for said, want := range map[string]truth.Outcome{"loop_proven": truth.Right, "unclear": truth.Undecided, "no_command": truth.Wrong} {
		if got := k.Outcome(said); got != want {
			t.Errorf("%s: %s, want %s", said, got, want)
		}
	}
	if !k.IsFalse("input", "failed") || k.IsFalse("input", "proven") {
		t.Error("false proofs")
	}
}

// Garwood's intervals as tabled in E. S. Pearson and H. O. Hartley, Biometrika Tables for
// Statisticians I (1954), table 40 (figures from memory): 0, 1, 5 and 10 events.
func TestGarwood(t *testing.T) {
	for _, c := range []struct {
		k      int
		lo, hi float64
	}{{0, 0, 3.69}, {1, 0.0253, 5.57}, {5, 1.62, 11.67}, {10, 4.80, 18.39}} {
		lo, hi := garwood(c.k)
		if lo < c.lo-0.006 || lo > c.lo+0.006 || hi < c.hi-0.006 || hi > c.hi+0.006 {
			t.Errorf("%d: %.4f to %.4f, want %.4f to %.4f", c.k, lo, hi, c.lo, c.hi)
		}
	}
}
