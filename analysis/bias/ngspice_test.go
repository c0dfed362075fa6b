package bias

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "ask ngspice again and rewrite testdata/ngspice.csv")

type spiceCase struct {
	v Values
	f Fault
}

// grid is every divider of a small set, with every sensor, two inputs, with every fault.
func grid() []spiceCase {
	var out []spiceCase
	for _, d := range []Values{
		{Source: 1.5, Top: 1000, Bottom: 1500},
		{Source: 1.65, Top: 680, Bottom: 1000, SourceOhms: 0.5, LeadOhms: 0.2},
		{Source: 5, Top: 2700, Bottom: 590},
		{Source: 1.35, Top: 100, Bottom: 150, LeadOhms: 1},
		{Source: 1.5, Top: 470e3, Bottom: 680e3},
	} {
		for _, s := range append([]Sensor{OpenBranch}, Sensors...) {
			for _, in := range []struct{ in, pull, through float64 }{{1e6, 0.45, 1e6}, {1e7, 5, 51e3}} {
				for _, f := range append([]Fault{Sound}, Faults...) {
					v := d
					v.EMF, v.SensorOhms = s.EMF, s.Ohms
					v.Input, v.PullVolts, v.PullOhms = in.in, in.pull, in.through
					out = append(out, spiceCase{v, f})
				}
			}
		}
	}
	return out
}

// deck writes all cases as circuits of their own in one deck, with the topology as it
// stands on the bench: nothing of [Values.Solve] is used. A slipped clip or an open
// resistor is left out; 1 TΩ keeps what then floats in place.
func deck(cases []spiceCase) string {
	var b strings.Builder
	fmt.Fprintln(&b, "* a bias source on a sensor's wire")
	var print strings.Builder
	for i, c := range cases {
		r := func(name, from, to string, ohms float64) {
			if !math.IsInf(ohms, 1) {
				fmt.Fprintf(&b, "r%s%d %s %s %.17g\n", name, i, from, to, ohms)
			}
		}
		plus, held, mid, minus, wire := fmt.Sprint("p", i), fmt.Sprint("h", i), fmt.Sprint("m", i), fmt.Sprint("n", i), fmt.Sprint("w", i)
		// What has no resistance is one node: micro-ohms beside megohms cost the simulator
		// its digits.
		if c.v.LeadOhms == 0 && c.f != SignalSlip {
			mid = wire
		}
		switch {
		case c.f == Swapped && c.v.LeadOhms == 0:
			mid, minus = "0", wire
		case c.f == Swapped: // the lead of clip 1 ends at the return
			minus = wire
		case c.f != ReturnSlip:
			minus = "0"
		}
		if c.v.SourceOhms == 0 && c.f != CellSlip {
			held = plus
		}
		if c.f == Reversed {
			fmt.Fprintf(&b, "vs%d %s %s %.17g\n", i, minus, plus, c.v.Source)
		} else {
			fmt.Fprintf(&b, "vs%d %s %s %.17g\n", i, plus, minus, c.v.Source)
		}
		if held != plus && c.f != CellSlip {
			r("s", plus, held, c.v.SourceOhms)
		}
		if c.f == TopShort {
			r("t", held, mid, bridge)
		} else {
			r("t", held, mid, c.v.Top)
		}
		if c.f != BottomOpen {
			r("b", mid, minus, c.v.Bottom)
		}
		switch {
		case c.f == Swapped && mid != "0":
			r("l", mid, "0", c.v.LeadOhms)
		case c.f != Swapped && c.f != SignalSlip && mid != wire:
			r("l", mid, wire, c.v.LeadOhms)
		}
		for _, n := range []string{held, minus, mid} {
			if n != "0" {
				r("f"+n, n, "0", 1e12)
			}
		}
		fmt.Fprintf(&b, "ve%d e%d 0 %.17g\nvp%d q%d 0 %.17g\n", i, i, c.v.EMF, i, i, c.v.PullVolts)
		r("e", fmt.Sprint("e", i), wire, c.v.SensorOhms)
		r("fe", fmt.Sprint("e", i), "0", 1e12)
		r("i", wire, "0", c.v.Input)
		r("p", fmt.Sprint("q", i), wire, c.v.PullOhms)
		fmt.Fprintf(&print, "print v(w%d) i(ve%d) i(vs%d)\n", i, i, i)
	}
	fmt.Fprintf(&b, ".options reltol=1e-9 abstol=1e-15 vntol=1e-12\n.control\nset numdgt=12\nop\n%s.endc\n.end\n", print.String())
	return b.String()
}

// askSpice returns wire V, sensor A, drawn A of each case.
func askSpice(t testing.TB, path string, cases []spiceCase) [][3]float64 {
	file := t.TempDir() + "/bias.cir"
	if err := os.WriteFile(file, []byte(deck(cases)), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "-b", file)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	text, err := cmd.Output()
	if err != nil && len(text) == 0 {
		t.Fatalf("%v: %s", err, stderr.String())
	}
	out := make([][3]float64, len(cases))
	seen := 0
	for sc := bufio.NewScanner(bytes.NewReader(text)); sc.Scan(); {
		name, value, ok := strings.Cut(sc.Text(), " = ")
		if !ok {
			continue
		}
		var i, k int
		switch {
		case strings.HasPrefix(name, "v(w"):
			k = 0
		case strings.HasPrefix(name, "i(ve"):
			k = 1
		case strings.HasPrefix(name, "i(vs"):
			k = 2
		default:
			continue
		}
		if i, err = strconv.Atoi(strings.TrimRight(strings.TrimLeft(name, "viwes("), ")")); err != nil {
			t.Fatal(err)
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if err != nil {
			t.Fatal(err)
		}
		if k == 2 {
			x = -x // spice counts a source's current from plus to minus inside it
		}
		out[i][k] = x
		seen++
	}
	if seen != 3*len(cases) {
		t.Fatalf("ngspice gave %d values of %d: %s", seen, 3*len(cases), stderr.String())
	}
	return out
}

const golden = "testdata/ngspice.csv"

// TestSpice holds the circuit to ngspice 39 (Debian), over the grid: to its answers in
// testdata/ngspice.csv, and to the program itself where it is installed.
func TestSpice(t *testing.T) {
	if testing.Short() {
		t.Skip("asks another program")
	}
	cases := grid()
	path, err := exec.LookPath("ngspice")
	if *update {
		if err != nil {
			t.Fatal("ngspice is not installed: apt-get install ngspice")
		}
		write(t, cases, askSpice(t, path, cases))
	}
	compare(t, "file", cases, read(t, len(cases)))
	if err == nil {
		compare(t, "live", cases, askSpice(t, path, cases))
	} else {
		t.Log("ngspice is not installed: compared with its stored answers only")
	}
}

func compare(t *testing.T, what string, cases []spiceCase, want [][3]float64) {
	t.Helper()
	for i, c := range cases {
		s := c.v.Solve(c.f)
		// 1 TΩ more than on paper: within two microvolts and a nanoampere, or a millionth where
		// much flows.
		for k, got := range [3]float64{s.Wire, s.Sensor, s.Drawn} {
			if d := math.Abs(got - want[i][k]); d > max([3]float64{2e-6, 1e-9, 1e-9}[k], 1e-6*math.Abs(want[i][k])) {
				t.Errorf("%s: case %d, %v, %+v: value %d is %.9g, ngspice says %.9g", what, i, c.f, c.v, k, got, want[i][k])
			}
		}
	}
}

func write(t *testing.T, cases []spiceCase, values [][3]float64) {
	f, err := os.Create(golden)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := csv.NewWriter(f)
	w.Write([]string{"case", "wire_v", "sensor_a", "drawn_a"})
	for i, v := range values {
		w.Write([]string{strconv.Itoa(i), fmt.Sprintf("%.10g", v[0]), fmt.Sprintf("%.10g", v[1]), fmt.Sprintf("%.10g", v[2])})
	}
	w.Flush()
	if w.Error() != nil {
		t.Fatal(w.Error())
	}
}

func read(t *testing.T, n int) [][3]float64 {
	f, err := os.Open(golden)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != n+1 {
		t.Fatalf("%d cases in %s, want %d (go test ./analysis/bias -update): %v", len(rows)-1, golden, n, err)
	}
	out := make([][3]float64, n)
	for i, row := range rows[1:] {
		for k := range 3 {
			if out[i][k], err = strconv.ParseFloat(row[k+1], 64); err != nil {
				t.Fatal(err)
			}
		}
	}
	return out
}
