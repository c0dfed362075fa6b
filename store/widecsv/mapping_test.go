package widecsv

import (
	"context"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"pushback/obd"
)

func mapped(t *testing.T, skip int, text string, columns ...string) ([]obd.Record, error) {
	t.Helper()
	m := Mapping{Skip: skip}
	for _, s := range columns {
		c, err := ParseColumn(s)
		if err != nil {
			return nil, err
		}
		m.Columns = append(m.Columns, c)
	}
	r, err := NewMapped(strings.NewReader(text), m)
	if err != nil {
		return nil, err
	}
	var all []obd.Record
	for {
		rec, err := r.Next(context.Background())
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, rec)
	}
}

// Known pairs of units: boiling and freezing water, NIST Special Publication 811
// (1 psi = 6.894757 kPa, 1 inHg conventional = 3.386389 kPa, 1 mmHg = 0.1333224 kPa,
// 1 mile = 1.609344 km, 1 lb = 453.59237 g, 1 US gallon = 3.785412 L).
func TestMapped(t *testing.T) {
	const text = "exported by a program\n" +
		"Time,O2 B1S1 (mV),Coolant [°F],Air (lb/min),Manifold,Speed,Loop,Comment,SHRTFT1\n" +
		"23:59:59.500,450,212,1,29.92,100,OL,warm up,-1.5\n" +
		"23:59:59.75,-,32,n/a,,0,CL,,\n" +
		"00:00:01,20,32,2,30,0,CL,next day,0\n"
	got, err := mapped(t, 1, text, "Time=t_s:clock", "o2 b1s1 (mv)=O2S11", "Coolant [°F]=ECT", "Air (lb/min)=MAF", "Manifold=MAP:inHg", "Speed=VSS:mph", "Loop=FUELSYS1")
	if err != nil {
		t.Fatal(err)
	}
	want := []obd.Record{
		row(0, 0, "O2S11", 0.45, "ECT", 100.0, "MAF", 453.59237/60, "MAP", 101.32074, "VSS", 160.9344, "FUELSYS1", 1.0, "SHRTFT1", -1.5),
		row(1, 250*time.Millisecond, "ECT", 0.0, "VSS", 0.0, "FUELSYS1", 2.0),
		row(2, 1500*time.Millisecond, "O2S11", 0.02, "ECT", 0.0, "MAF", 2*453.59237/60, "MAP", 101.59164, "VSS", 0.0, "FUELSYS1", 2.0, "SHRTFT1", 0.0),
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-4)); diff != "" {
		t.Error(diff)
	}
	for _, c := range []struct {
		signal, unit string
		from, to     float64
	}{
		{"MAP", "psi", 1, 6.894757}, {"MAP", "mmHg", 1, 0.1333224}, {"MAP", "bar", 1, 100}, {"MAP", "hPa", 1013.25, 101.325},
		{"ECT", "K", 373.15, 100}, {"ECT", "F", -40, -40}, {"MAF", "kg/h", 3.6, 1}, {"VSS", "m/s", 10, 36},
		{"SHRTFT1", "1", -0.05, -5}, {"FUEL_RATE", "gal/h", 1, 3.785412}, {"CLR_DIST", "mi", 1, 1.609344},
	} {
		k, err := Column{Signal: c.signal}.conversion(c.unit)
		if v := k.of(c.from); err != nil || math.Abs(v-c.to) > 1e-6*math.Max(1, math.Abs(c.to)) {
			t.Errorf("%v %s of %s are %v, want %v (%v)", c.from, c.unit, c.signal, v, c.to, err)
		}
	}
}

func TestMappedErrors(t *testing.T) {
	for _, c := range []struct {
		text    string
		columns []string
		want    string
	}{
		{"a,b\n1,2\n", []string{"a=t_s", "c=RPM"}, `line 1: no column "c"; there are ["a" "b"]`},
		{"a,b\n1,2\n", []string{"b=RPM"}, "line 1: no column is mapped to t_s"},
		{"a,b\n1,2\n", []string{"a=t_s"}, "line 1: no column of a signal"},
		{"a,b\n1,2\n", []string{"a=t_s", "b=RPMM"}, `no signal of this name: "RPMM" (RPM?)`},
		{"a,b\n1,2\n", []string{"a=t_s", "b=O2S11:psi"}, `O2S11 is in V; its unit may also be one of [mV], not "psi"`},
		{"a,b\n1,2\n", []string{"a"}, "is not like"},
		{"a,b,b\n1,2,3\n", []string{"a=t_s", "b=RPM"}, "line 1, column 3 (b): a second column"},
		{"a,b,RPM\n1,2,3\n", []string{"a=t_s", "b=RPM"}, "line 1, column 3 (RPM): a second column for RPM"},
		{"a,b\n1,2\n2,x\n", []string{"a=t_s", "b=RPM"}, `line 3, column 2 (b): "x" is not a number`},
		{"a,b\n1,450\n", []string{"a=t_s", "b=O2S11"}, "line 2, column 2 (b): 450 V is outside 0 to 1.275"},
		{"a,b\nsoon,450\n", []string{"a=t_s:clock", "b=RPM"}, "line 2, column 1 (a): \"soon\" is no time of day"},
	} {
		if _, err := mapped(t, 0, c.text, c.columns...); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q %v: %v, want %s", c.text, c.columns, err, c.want)
		}
	}
}

// What the reader understood, for a dry run.
func TestUnderstood(t *testing.T) {
	c, _ := ParseColumn("O2 (mV)=O2S11")
	at, _ := ParseColumn("T=t_s:ms")
	r, err := NewMapped(strings.NewReader("T,O2 (mV),SHRTFT1,SHRTFT_1\n"), Mapping{Columns: []Column{c, at}})
	if err != nil {
		t.Fatal(err)
	}
	want := []Understood{{"T", "t_s", "ms", "s", ""}, {"O2 (mV)", "O2S11", "mV", "V", ""}, {"SHRTFT1", "SHRTFT1", "%", "%", ""}, {"SHRTFT_1", "", "", "", "SHRTFT1"}}
	if diff := cmp.Diff(want, r.Understood()); diff != "" {
		t.Error(diff)
	}
}

func FuzzMapped(f *testing.F) {
	f.Add("T,O2 (mV),x\n10:00:00,450,a\n10:00:01,-,\n", "T=t_s:clock", "O2 (mV)=O2S11")
	f.Add("a;b\n0,5;1\n", "a=t_s:ms", "b=RPM")
	f.Fuzz(func(t *testing.T, text, one, two string) {
		got, _ := mapped(t, 0, text, one, two)
		last := time.Duration(0)
		for _, rec := range got {
			if rec.At < last {
				t.Fatalf("%v after %v", rec.At, last)
			}
			last = rec.At
			if rec.Row != nil {
				for i, v := range rec.Row.Values {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("%s is %v", rec.Row.Names[i], v)
					}
				}
			}
		}
	})
}
