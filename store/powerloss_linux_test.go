package store

import (
	"context"
	"encoding/binary"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var cuts = flag.Int("cuts", 60, "how often to cut the power in TestPowerLoss")

// powerlossLibrary builds testdata/powerloss.c.
func powerlossLibrary(t *testing.T) string {
	cc := os.Getenv("CC")
	if cc == "" {
		cc = "cc"
	}
	lib := filepath.Join(t.TempDir(), "powerloss.so")
	if out, err := exec.Command(cc, "-shared", "-fPIC", "-O1", "-o", lib, "testdata/powerloss.c", "-ldl").CombinedOutput(); err != nil {
		t.Skipf("no C compiler for a preloaded library: %v: %s", err, out)
	}
	return lib
}

// entry is one line of the log that testdata/powerloss.c writes.
type entry struct {
	op   byte
	name string
	at   int64
	data []byte
}

func readLog(t *testing.T, path string) []entry {
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var log []entry
	for len(b) > 0 {
		word := func(i int) int64 { return int64(binary.LittleEndian.Uint64(b[8*i:])) }
		n, size := 32+word(1), 32+word(1)+word(3)
		log = append(log, entry{byte(word(0)), string(b[32:n]), word(2), b[n:size]})
		b = b[size:]
	}
	return log
}

// disk is what a disk holds, and what it was told but may not hold yet.
type disk struct {
	files   map[string][]byte
	pending map[string][]entry // writes and truncations of a file since its last sync
	names   []entry            // creations and removals since the folder's last sync
}

func (d *disk) do(e entry) {
	switch e.op {
	case 'W', 'T':
		d.pending[e.name] = append(d.pending[e.name], e)
	case 'S':
		for _, p := range d.pending[e.name] {
			d.apply(p)
		}
		delete(d.pending, e.name)
	case 'C', 'U':
		d.names = append(d.names, e)
		if e.op == 'C' { // made anew: what was told of an older file of the name is void
			delete(d.pending, e.name)
		}
	case 'D':
		for _, n := range d.names {
			d.apply(n)
		}
		d.names = nil
	}
}

func (d *disk) apply(e entry) {
	f := d.files[e.name]
	switch e.op {
	case 'W':
		if n := e.at + int64(len(e.data)); int64(len(f)) < n {
			f = append(f, make([]byte, n-int64(len(f)))...)
		}
		copy(f[e.at:], e.data)
		d.files[e.name] = f
	case 'T':
		for int64(len(f)) < e.at {
			f = append(f, 0)
		}
		d.files[e.name] = f[:e.at:e.at]
	case 'U':
		delete(d.files, e.name)
	}
}

// cut is the loss of power: of what was not synced, each sector of 512 bytes may be
// there or not, in any order.
func (d *disk) cut(rng *rand.Rand) {
	const sector = 512
	keep := [...]float64{0, 0.3, 0.7, 1}[rng.IntN(4)] // the likelihood of a sector
	for _, pending := range d.pending {
		for _, e := range pending {
			if e.op == 'T' {
				if rng.Float64() < keep {
					d.apply(e)
				}
				continue
			}
			for at := 0; at < len(e.data); {
				n := min(len(e.data)-at, sector-int(e.at+int64(at))%sector)
				if rng.Float64() < keep {
					d.apply(entry{'W', e.name, e.at + int64(at), e.data[at : at+n]})
				}
				at += n
			}
		}
	}
	for _, n := range d.names {
		if n.op == 'U' && rng.Float64() < keep {
			d.apply(n)
		}
		if n.op == 'C' && rng.Float64() >= keep {
			delete(d.files, n.name)
		}
	}
}

// The power fails at any moment of a session's life, from the making of the file to
// its end. A process runs with a library that logs its writes and syncs; from the log
// the disk is rebuilt as it may have been: all that was synced and any sectors of the
// rest. Whatever was committed is there.
func TestPowerLoss(t *testing.T) {
	if testing.Short() {
		t.Skip("cuts a file at every write")
	}
	lib := powerlossLibrary(t)
	dir := t.TempDir()
	log := filepath.Join(dir, "log")
	path := filepath.Join(dir, "db", "p.db")
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "LD_PRELOAD="+lib, "POWERLOSS_DB="+path, "POWERLOSS_LOG="+log,
		"PUSHBACK_STORE_CHILD="+path, "PUSHBACK_STORE_RECORDS=3000")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	entries := readLog(t, log)
	counts := make(map[byte]int)
	for _, e := range entries {
		counts[e.op]++
	}
	if counts['W'] < 200 || counts['S'] < 50 || counts['A'] < 20 {
		t.Fatalf("the log shows too little: %v", counts)
	}

	for i := range *cuts {
		rng := rand.New(rand.NewPCG(uint64(i), 7))
		at := rng.IntN(len(entries) + 1)
		d := disk{files: map[string][]byte{"p.db": nil}, pending: make(map[string][]entry)} // Go made it, and synced the folder
		committed := int64(-1)
		for _, e := range entries[:at] {
			if e.op == 'A' {
				committed = e.at
			} else {
				d.do(e)
			}
		}
		d.cut(rng)
		checkAfterLoss(t, fmt.Sprintf("cut %d before entry %d of %d", i, at, len(entries)), d.files, committed)
		if t.Failed() {
			return
		}
	}
}

func checkAfterLoss(t *testing.T, what string, files map[string][]byte, committed int64) {
	dir := t.TempDir()
	for name, b := range files {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "p.db")
	s, err := Open(context.Background(), path)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	defer func() { s.Close(); checkIntegrity(t, path) }()
	checkCommitted(t, s, what, committed)
}

// The disk is full, at any moment: the error says so, the file is sound, and what was
// committed is there. Unlike in TestDiskFull it is the system that refuses to write.
func TestNoSpaceLeft(t *testing.T) {
	if testing.Short() {
		t.Skip("fills a disk")
	}
	lib := powerlossLibrary(t)
	for _, room := range []int{0, 1, 4096, 20_000, 57_000, 100_000, 200_000, 300_001, 500_000} {
		path := filepath.Join(t.TempDir(), "p.db")
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "LD_PRELOAD="+lib, "POWERLOSS_DB="+path, "POWERLOSS_ROOM="+strconv.Itoa(room),
			"PUSHBACK_STORE_CHILD="+path, "PUSHBACK_STORE_RECORDS=5000")
		out, err := cmd.Output()
		if err == nil {
			t.Fatalf("room for %d bytes suffices", room)
		}
		lines := strings.Split(strings.TrimSpace(string(out)), "\n")
		if last := lines[len(lines)-1]; !strings.Contains(last, ErrDiskFull.Error()) {
			t.Errorf("room for %d bytes: %s", room, last)
		}
		committed := int64(-1)
		if len(lines) > 1 {
			if committed, err = strconv.ParseInt(lines[len(lines)-2], 10, 64); err != nil {
				t.Fatal(err)
			}
		}
		checkCommitted(t, openTest(t, path), fmt.Sprintf("room for %d bytes", room), committed)
	}
}
