package longcsv

import (
	"context"
	"io"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
)

const (
	head  = "session,seq,t_s,sent_s,kind,name,value,unit,request,expect,outcome,raw,text\n"
	start = "b7kqrt,-1,0,,session,,,,,,,,\"{\"\"bus\"\":\"\"can11-500\"\",\"\"headers\"\":true,\"\"started\"\":\"\"2026-03-01T08:30:00Z\"\"}\"\n"
)

type nopCloser struct{}

func (nopCloser) Close() error { return nil }

func readAll(text io.Reader) ([]obd.Record, error) {
	r, err := NewReader(text)
	if err != nil {
		return nil, err
	}
	r.file = nopCloser{}
	defer r.Close()
	ctx := context.Background()
	var all []obd.Record
	for {
		if _, err := r.Session(ctx); err == io.EOF {
			return all, nil
		} else if err != nil {
			return all, err
		}
		for {
			rec, err := r.Next(ctx)
			if err == io.EOF {
				break
			}
			if err != nil {
				return all, err
			}
			all = append(all, rec)
		}
	}
}

// A person may have sorted the columns otherwise and added some.
func TestRead(t *testing.T) {
	got, err := readAll(strings.NewReader("mine," + head +
		"x," + start +
		"x,b7kqrt,0,0.02,0.001,exchange,,,,0114,1,ok,7E8 04 41 14 5A 80\\r\\r,\n" +
		"x,b7kqrt,0,0.02,0.001,sample,O2S11,0.45,V,,,,,\n" +
		"x,b7kqrt,4,1.5,,mark,note,,,,,,,\"two\nlines\"\n" +
		"x,b7kqrt,5,2,,row,,,,,,,,\n" +
		"x,b7kqrt,5,2,2,sample,RPM,812.25,rpm,,,,,\n" +
		"x,b7kqrt,5,1.5,,event,loop_answers,,,,,,,{}\n"))
	want := []obd.Record{
		{Sent: time.Millisecond, At: 20 * time.Millisecond, Exchange: &obd.Exchange{Request: obd.Request{Service: 1, Data: []byte{0x14}, Expect: 1},
			Raw: []byte("7E8 04 41 14 5A 80\r\r"), Replies: []obd.Reply{{From: 0x7E8, Data: []byte{0x41, 0x14, 0x5A, 0x80}}}}},
		{Seq: 4, At: 1500 * time.Millisecond, Mark: &obd.Mark{Kind: obd.MarkNote, Text: "two\nlines"}},
		{Seq: 5, At: 2 * time.Second, Row: &obd.Row{Names: []string{"RPM"}, Values: []float64{812.25}}},
	}
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Error(err, diff)
	}
}

func TestErrors(t *testing.T) {
	for want, text := range map[string]string{
		"the table is empty":                  "",
		"line 1: no column seq":               "session,t_s\n",
		"line 2: the table does not begin":    head + "a,0,0,,mark,lean,,,,,,,\n",
		"line 3 (t_s): \"x\" is not a time":   head + start + "a,0,x,,mark,lean,,,,,,,\n",
		"line 3 (t_s): \"NaN\" is not a time": head + start + "a,0,NaN,,mark,lean,,,,,,,\n",
		"line 3 (value): \"x\" is not a":      head + start + "a,0,0,0,sample,RPM,x,,,,,,\n",
		"line 3 (raw): \"\\\\q\" has wrong":   head + start + "a,0,0,0,exchange,,,,0114,1,ok,\\q,\n",
		"line 3: outcome \"frob\"":            head + start + "a,0,0,0,exchange,,,,0114,1,frob,,\n",
		"line 3: request":                     head + start + "a,0,0,0,exchange,,,,01X,1,ok,,\n",
		"line 3: kind \"frob\"":               head + start + "a,0,0,,frob,,,,,,,,\n",
		"line 4: record 0 at 0s does not":     head + start + "a,0,0,,mark,lean,,,,,,,\na,0,0,,mark,rich,,,,,,,\n",
		"line 3, column 1: wrong number":      head + start + "a,0\n",
		"time 9600h0m0s is not within a year": head + start + "a,0,34560000,,mark,lean,,,,,,,\n",
		"sent at 2s, received at 1s":          head + start + "a,0,1,2,exchange,,,,0114,1,ok,,\n",
		"\"RPM\" is +Inf":                     head + start + "a,0,1,,row,,,,,,,,\na,0,1,1,sample,RPM,Inf,,,,,,\n",
		"record 0 has more than 256 values":   head + start + "a,0,1,,row,,,,,,,,\n" + strings.Repeat("a,0,1,1,sample,RPM,1,,,,,,\n", 300),
		"a line is longer than 1048576 bytes": head + start + "a,0,1,,mark,note,,,,,,,\"" + strings.Repeat("x", 3<<20),
	} {
		if _, err := readAll(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

// endless is a table whose one cell never ends.
type endless struct{ r io.Reader }

func (e *endless) Read(p []byte) (int, error) {
	if n, err := e.r.Read(p); err == nil {
		return n, nil
	}
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

func TestEndlessCell(t *testing.T) {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := readAll(&endless{strings.NewReader(head + start + "a,0,1,,mark,note,,,,,,,\"")})
	if err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Error(err)
	}
	if runtime.ReadMemStats(&after); after.TotalAlloc-before.TotalAlloc > 64<<20 {
		t.Errorf("it took %d MB", (after.TotalAlloc-before.TotalAlloc)>>20)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(head + start + "a,0,0.02,0.001,exchange,,,,0114,1,ok,7E8 04 41 14 5A 80\\r\\r,\na,1,1,,mark,lean,,,,,,,\na,2,1,,row,,,,,,,,\na,2,1,1,sample,RPM,1,rpm,,,,,\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, _ := readAll(strings.NewReader(text))
		for _, rec := range all {
			if rec.At < 0 || rec.At%time.Microsecond != 0 {
				t.Fatalf("record %d at %v", rec.Seq, rec.At)
			}
		}
	})
}

// A note that a spreadsheet would take for a formula is text there, and comes back as it was.
func TestFormulas(t *testing.T) {
	for _, text := range []string{"=cmd|' /C calc'!A0", "+1", "-1", "@SUM(A1)", "\t=1", "'=1", "''", "'", "it's", "plain", ""} {
		cell := defused(text)
		if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
			t.Errorf("%q is written as %q", text, cell)
		}
		if back := fused(cell); back != text {
			t.Errorf("%q comes back as %q", text, back)
		}
	}
}
