package widecsv

import (
	"bytes"
	"context"
	"errors"
	"io"
	"iter"
	"math"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"pushback/decode"
	"pushback/obd"
	"pushback/store/transfer"
)

func readAll(r io.Reader) ([]obd.Record, error) {
	t, err := NewReader(r)
	if err != nil {
		return nil, err
	}
	var all []obd.Record
	for {
		rec, err := t.Next(context.Background())
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, rec)
	}
}

// lines gives records to Write, without samples.
func lines(all []obd.Record) iter.Seq2[transfer.Line, error] {
	return func(yield func(transfer.Line, error) bool) {
		for _, rec := range all {
			if !yield(transfer.Line{Record: rec}, nil) {
				return
			}
		}
	}
}

func row(seq int64, at time.Duration, pairs ...any) obd.Record {
	r := &obd.Row{}
	for i := 0; i < len(pairs); i += 2 {
		r.Names = append(r.Names, pairs[i].(string))
		r.Values = append(r.Values, pairs[i+1].(float64))
	}
	return obd.Record{Seq: seq, At: at, Row: r}
}

func mark(seq int64, at time.Duration, k obd.MarkKind) obd.Record {
	return obd.Record{Seq: seq, At: at, Mark: &obd.Mark{Kind: k}}
}

func TestRead(t *testing.T) {
	const ms = time.Millisecond
	plain := []obd.Record{
		row(0, 0, "O2S11", 0.45, "RPM", 812.25),
		row(1, 1500*ms, "O2S11", 0.02),
		row(2, 1500*ms, "RPM", 800.0),
	}
	for _, c := range []struct {
		name, text string
		want       []obd.Record
	}{
		{"plain", "t_s,O2S11,RPM\n0,0.45,812.25\n1.5,0.02,\n1.5,,800\n", plain},
		{"no line end", "t_s,O2S11,RPM\n0,0.45,812.25\n1.5,0.02,\n1.5,,800", plain},
		{"spreadsheet", "\xef\xbb\xbft_s;O2S11;RPM\r\n0;0,45;812,25\r\n1,5;0,02;\r\n1,500;;800\r\n\r\n\r\n", plain},
		{"semicolon and point", "t_s;O2S11;RPM\n0;.45;812.25\n1.5;0.02;\n1.5;;8e2\n", plain},
		{"tab, blanks, blank lines", "t_s\tO2S11\tRPM\n\n 0\t0.45 \t812.25\n   \n1.5\t0.02\t\n1.5\t\t+800\n \n", plain},
		{"quoted", "\"t_s\",\"O2S11\", \"RPM\"\n\"0\",\"0.45\" ,\"812.25\"\n1.5,0.02,\"\"\n1.5,,800\n", plain},
		{"empty cells at the end", "t_s,O2S11,RPM,,\n0,0.45,812.25,,\n1.5,0.02,\n1.5,,800,,,\n", plain},
		{"time last", "RPM,O2S11,t_s\n7,,2\n", []obd.Record{row(0, 2000*ms, "RPM", 7.0)}},
		{"marks", "t_s,mark,RPM\n1,lean,700\n2,release,\n3,,\n", []obd.Record{
			mark(0, 1000*ms, obd.MarkLean), row(1, 1000*ms, "RPM", 700.0), mark(2, 2000*ms, obd.MarkRelease), row(3, 3000*ms)}},
		{"rounded to microseconds", "t_s,RPM\n0.0000014,1\n0.0000016,2\n", []obd.Record{
			row(0, time.Microsecond, "RPM", 1.0), row(1, 2*time.Microsecond, "RPM", 2.0)}},
		{"only a header", "t_s,RPM\n", nil},
		{"one count beyond", "t_s,O2S11\n0,1.28\n", []obd.Record{row(0, 0, "O2S11", 1.28)}},
	} {
		got, err := readAll(iotest.OneByteReader(strings.NewReader(c.text)))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if diff := cmp.Diff(c.want, got, cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}

func TestReadErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "line 1: the table is empty"},
		{"\n\n", "line 1: the table is empty"},
		{"time,rpm\n", `line 1: no column t_s; no signal of this name: "time", "rpm" (RPM?)`},
		{"RPM,ECT\n", "line 1: no column t_s"},
		{"t_s\n", "line 1: no column of a signal"},
		{"t_s,mark\n1,lean\n", "line 1: no column of a signal"},
		{"\n\nt_s,RPM,O2S1,SHORTFT1,wobble\n", `line 3, column 3: no signal of this name: "O2S1" (O2S11?), "SHORTFT1" (SHRTFT1?), "wobble"`},
		{"t_s,RPM,RPM\n", "line 1, column 3 (RPM): a second column of this name"},
		{"t_s,,RPM\n", `line 1, column 2: no signal of this name: ""`},
		{"t_s,RPM\n1,\n0.5,\n", "line 3, column 1 (t_s): 0.5 s is before the row above (1 s)"},
		{"t_s,RPM\n-1,\n", "line 2, column 1 (t_s): -1 s is before the start"},
		{"t_s,RPM\n1767225600,\n", "line 2, column 1 (t_s): 1767225600 s is beyond a year: the column counts seconds since the recording began"},
		{"t_s,RPM\n,1\n", "line 2, column 1 (t_s): no time"},
		{"t_s,RPM\n0,1\n\n1\n", "line 4: 1 cells under 2 columns"},
		{"t_s,RPM\n0,1,2\n", "line 2: 3 cells under 2 columns"},
		{"t_s,RPM\n0,NaN\n", `line 2, column 2 (RPM): "NaN" is not a number`},
		{"t_s,RPM\n0,-inf\n", `line 2, column 2 (RPM): "-inf" is not a number`},
		{"t_s,RPM\n0,1e999\n", `line 2, column 2 (RPM): "1e999" is not a number`},
		{"t_s,RPM\n0,0x10\n", `line 2, column 2 (RPM): "0x10" is not a number`},
		{"t_s,RPM\n0,1_0\n", `line 2, column 2 (RPM): "1_0" is not a number`},
		{"t_s,RPM\n0,e\n", `line 2, column 2 (RPM): "e" is not a number`},
		{"t_s,O2S11\n0,450\n", "line 2, column 2 (O2S11): 450 V is outside 0 to 1.275"},
		{"t_s,RPM\n0,-1\n", "line 2, column 2 (RPM): -1 rpm is outside 0 to 16383.75"},
		{"t_s,O2S11\n0,\"0,45\"\n", `line 2, column 2 (O2S11): "0,45": a decimal comma in a table separated by commas`},
		{"t_s;RPM\n0,5;1.234\n", `line 2, column 2 (RPM): "1.234": the table has the decimal mark ',' above`},
		{"t_s;RPM\n0;1.234,5\n", `line 2, column 2 (RPM): "1.234,5": the table has the decimal mark '.' above`},
		{"t_s;RPM\n0;1,2,3\n", `line 2, column 2 (RPM): "1,2,3" is not a number`},
		{"t_s,mark,RPM\n0,Stop,1\n", `line 2, column 2 (mark): "Stop" is none of lean, rich, release`},
		{"t_s,RPM\n0,\"1\n2\"\n", "line 2, column 2 (RPM): a quote is not closed on this line"},
		{"t_s,RPM\n\"0\"1,2\n", "line 2, column 1 (t_s): text after the closing quote"},
		{"\xff\xfet\x00_\x00s\x00", "line 1: no column of a signal"},
		{"SQLite format 3\x00\x10", "line 1: this is not text"},
		{"t_s,RPM\n0,\xff\n", `line 2, column 2 (RPM): "ÿ" is not a number`},
		{"t_s," + strings.Repeat("x", maxLine), "line 1: longer than 65536 bytes"},
		{"t_s" + strings.Repeat(",x", maxColumns), "line 1: 257 columns, at most 256 are read"},
	} {
		_, err := readAll(strings.NewReader(c.text))
		var e *Error
		if !errors.As(err, &e) || err.Error() != c.want {
			t.Errorf("%.60q:\n got %v\nwant %s", c.text, err, c.want)
		}
	}
	r, err := NewReader(strings.NewReader("t_s,RPM\nx,1\n2,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	_, first := r.Next(context.Background())
	if _, again := r.Next(context.Background()); first == nil || again != first {
		t.Errorf("an error must stay: %v, then %v", first, again)
	}
	if _, err := readAll(iotest.ErrReader(io.ErrUnexpectedEOF)); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("error of the file: %v", err)
	}
}

func TestColumns(t *testing.T) {
	r, err := NewReader(strings.NewReader("RPM,t_s,mark,O2S11\n"))
	if err != nil {
		t.Fatal(err)
	}
	if want := []*decode.Signal{decode.ByName("RPM"), decode.ByName("O2S11")}; !cmp.Equal(r.Columns(), want) {
		t.Errorf("%v", r.Columns())
	}
}

// A live session: samples of one exchange share a row, what did not come is an
// empty cell, what carries no signal makes no row.
func TestWriteSamples(t *testing.T) {
	const ms = time.Millisecond
	tenth := 0.1
	sample := func(name string, v float64) decode.Sample {
		return decode.Sample{Signal: decode.ByName(name), Value: v}
	}
	missing := decode.Sample{Signal: decode.ByName("SHRTFT1"), Missing: true}
	x := func(at time.Duration, s ...decode.Sample) transfer.Line {
		return transfer.Line{Record: obd.Record{At: at, Exchange: &obd.Exchange{}}, Samples: s}
	}
	in := []transfer.Line{
		x(100*ms, sample("RPM", 812.25)),
		x(200*ms, sample("O2S11", tenth+0.2), missing),
		{Record: obd.Record{At: 250 * ms, Mark: &obd.Mark{Kind: obd.MarkNote, Text: "hm, \"so\""}}},
		{Record: mark(0, 1234567*time.Microsecond, obd.MarkLean)},
		x(1300 * ms),
		x(1400*ms, sample("SHRTFT1", -0.78125), sample("MAF", 2)),
		{Record: mark(0, 1500*ms, obd.MarkRelease)},
		x(1500*ms, sample("RPM", 0)),
		{Record: mark(0, 1500*ms, obd.MarkRich)},
		{Record: mark(0, 1500*ms, obd.MarkStop)},
	}
	const want = `t_s,mark,O2S11,SHRTFT1,RPM,MAF
0.1,,,,812.25,
0.2,,0.30000000000000004,,,
1.234567,lean,,,,
1.4,,,-0.78125,,2
1.5,release,,,0,
1.5,rich,,,,
`
	var b strings.Builder
	err := Write(&b, func(yield func(transfer.Line, error) bool) {
		for _, l := range in {
			if !yield(l, nil) {
				return
			}
		}
	})
	if diff := cmp.Diff(want, b.String()); err != nil || diff != "" {
		t.Error(err, diff)
	}
}

func TestWriteErrors(t *testing.T) {
	broken := errors.New("broken")
	if err := Write(io.Discard, func(yield func(transfer.Line, error) bool) { yield(transfer.Line{}, broken) }); err != broken {
		t.Errorf("error of the source: %v", err)
	}
	if err := Write(failing{broken}, lines([]obd.Record{row(0, 0, "RPM", 1.0)})); err != broken {
		t.Errorf("error of the file: %v", err)
	}
	if err := Write(io.Discard, lines([]obd.Record{row(0, 0, "RPM", math.NaN())})); err == nil {
		t.Error("NaN was written")
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// What was read and written once comes out the same ever after.
func checkRoundTrip(t interface{ Fatalf(string, ...any) }, text []byte) {
	first, err := readAll(bytes.NewReader(text))
	if err != nil {
		return
	}
	named := false
	for _, rec := range first {
		named = named || rec.Row != nil && len(rec.Row.Names) > 0
	}
	if !named { // such a table has no signal column
		return
	}
	var a, b bytes.Buffer
	if err := Write(&a, lines(first)); err != nil {
		t.Fatalf("write what was read: %v", err)
	}
	second, err := readAll(bytes.NewReader(a.Bytes()))
	if err != nil {
		t.Fatalf("read what was written: %v\n%s", err, a.Bytes())
	}
	if err := Write(&b, lines(second)); err != nil {
		t.Fatalf("write again: %v", err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Fatalf("first\n%s\nthen\n%s", a.Bytes(), b.Bytes())
	}
	if len(first) != len(second) {
		t.Fatalf("%d records, then %d", len(first), len(second))
	}
	for i := range first {
		if first[i].At != second[i].At || (first[i].Mark == nil) != (second[i].Mark == nil) {
			t.Fatalf("record %d: %v, then %v", i, first[i], second[i])
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("t_s,mark,O2S11,RPM\n0,,0.45,812.25\n1.5,lean,0.02,\n1.5,,,\n"))
	f.Add([]byte("\xef\xbb\xbft_s;O2S11;SHRTFT1\r\n0;\"0,45\";-0,78125\r\n\r\n"))
	f.Add([]byte("RPM\tt_s\n1e-300\t0.000001\n"))
	f.Fuzz(func(t *testing.T, text []byte) { checkRoundTrip(t, text) })
}

func TestRoundTrip(t *testing.T) {
	signals := decode.Signals()
	rapid.Check(t, func(t *rapid.T) {
		var all []obd.Record
		at := time.Duration(0)
		used := false
		for range rapid.IntRange(1, 30).Draw(t, "rows") {
			at += time.Duration(rapid.Int64Range(0, 3_000_000).Draw(t, "step")) * time.Microsecond
			if rapid.IntRange(0, 4).Draw(t, "mark") == 0 {
				k := rapid.SampledFrom([]obd.MarkKind{obd.MarkLean, obd.MarkRich, obd.MarkRelease}).Draw(t, "kind")
				all = append(all, mark(int64(len(all)), at, k))
				continue
			}
			r := &obd.Row{}
			for _, s := range rapid.SliceOfNDistinct(rapid.SampledFrom(signals), 1, 5, rapid.ID[*decode.Signal]).Draw(t, "signals") {
				r.Names = append(r.Names, s.Name)
				r.Values = append(r.Values, rapid.Float64Range(s.Min, s.Max).Draw(t, "value"))
				used = true
			}
			all = append(all, obd.Record{Seq: int64(len(all)), At: at, Row: r})
		}
		if !used {
			return
		}
		var b bytes.Buffer
		if err := Write(&b, lines(all)); err != nil {
			t.Fatal(err)
		}
		got, err := readAll(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		// Columns come in the table's order.
		values := func(r *obd.Row) map[string]float64 {
			m := make(map[string]float64)
			if r == nil {
				return m
			}
			for i, n := range r.Names {
				m[n] = r.Values[i]
			}
			return m
		}
		if diff := cmp.Diff(all, got, cmp.Transformer("values", values), cmpopts.EquateEmpty()); diff != "" {
			t.Fatal(diff)
		}
		checkRoundTrip(t, b.Bytes())
	})
}

func BenchmarkRead(b *testing.B) {
	var text bytes.Buffer
	text.WriteString("t_s,O2S11,SHRTFT1,RPM\n")
	for i := range 10000 {
		text.WriteString(seconds(time.Duration(i)*100*time.Millisecond) + ",0.435,-1.5625,812.25\n")
	}
	b.SetBytes(int64(text.Len()))
	b.ReportAllocs()
	for b.Loop() {
		if all, err := readAll(bytes.NewReader(text.Bytes())); err != nil || len(all) != 10000 {
			b.Fatal(err)
		}
	}
}
