package session

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
)

// list is a source of given records.
type list []obd.Record

func (l *list) Next(context.Context) (obd.Record, error) {
	if len(*l) == 0 {
		return obd.Record{}, io.EOF
	}
	r := (*l)[0]
	*l = (*l)[1:]
	return r, nil
}

func ask(at, took time.Duration, o obd.Outcome, request string, replies ...string) obd.Record {
	req, err := obd.ParseRequest(request)
	if err != nil {
		panic(err)
	}
	x := &obd.Exchange{Request: req, Outcome: o}
	for _, r := range replies {
		d, err := obd.ParseRequest(r)
		if err != nil {
			panic(err)
		}
		x.Replies = append(x.Replies, obd.Reply{From: 0x7E8, Data: d.Bytes()})
	}
	return obd.Record{Sent: at - took, At: at, Exchange: x}
}

func newJudge(t *testing.T, bus obd.Bus) *Judge {
	t.Helper()
	return NewJudge(Setup{Format: obd.Format{Bus: bus, Headers: true}})
}

func events(t *testing.T, j *Judge, records []obd.Record) []string {
	t.Helper()
	src := list(records)
	res, err := Run(context.Background(), &src, j)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range res.Events {
		b, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(b))
	}
	return out
}

func TestGaps(t *testing.T) {
	const s = time.Second
	const rpm, reply = "010C", "410C0BB8"
	gap := func(from, to, cause string) string {
		return `{"kind":"event","t":` + from + `,"event":"gap","from_s":` + from + `,"to_s":` + to + `,"cause":"` + cause + `"}`
	}
	for _, tt := range []struct {
		name    string
		records []obd.Record
		want    []string
	}{
		{"none", []obd.Record{ask(1*s, s/10, obd.OK, rpm, reply), ask(2*s, s/10, obd.OK, rpm, reply)}, nil},
		{"one missed reply is no gap", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(2*s, s/2, obd.NoData, rpm), ask(2*s+s/2, s/10, obd.OK, rpm, reply)}, nil},
		{"nothing for longer than 2 s", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(3*s, s, obd.NoData, rpm), ask(4*s, s, obd.TimedOut, rpm), ask(5*s, s/10, obd.OK, rpm, reply)},
			[]string{gap("1", "5", "no reply")}},
		{"nothing up to the end", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(4*s, s, obd.NoData, rpm)},
			[]string{gap("1", "4", "no reply")}},
		{"a lost line is a gap however short", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(1*s+s/2, s/10, obd.LinkLost, rpm), ask(2*s, s/10, obd.OK, rpm, reply)},
			[]string{gap("1", "2", "link lost")}},
		{"a lost line explains the rest", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(2*s, s/10, obd.NoData, rpm), ask(3*s, s/10, obd.LinkLost, rpm),
			ask(4*s, s/10, obd.AdapterReset, rpm), ask(5*s, s/10, obd.OK, rpm, reply)},
			[]string{gap("1", "5", "link lost")}},
		{"a restarted adapter", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(2*s, s/10, obd.AdapterReset, rpm), ask(3*s, s/10, obd.OK, rpm, reply)},
			[]string{gap("1", "3", "adapter reset")}},
		{"a refusal is an answer", []obd.Record{
			ask(1*s, s/10, obd.OK, rpm, reply), ask(2*s, s/10, obd.Refused, rpm), ask(3*s+s/2, s/10, obd.OK, rpm, reply)}, nil},
		{"rows each 3 s", []obd.Record{row(0), row(3 * s), row(6 * s), row(9 * s)},
			// The first pause cannot be told from a gap yet.
			[]string{gap("0", "3", "no reply")}},
		{"rows each s with a hole", []obd.Record{row(0), row(1 * s), row(2 * s), row(9 * s), row(10 * s)},
			[]string{gap("2", "9", "no reply")}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := events(t, newJudge(t, obd.CAN11at500), tt.records)
			if d := cmp.Diff(tt.want, only(got, "gap")); d != "" {
				t.Error(d)
			}
		})
	}
}

func row(at time.Duration) obd.Record {
	return obd.Record{At: at, Row: &obd.Row{Names: []string{"RPM"}, Values: []float64{750}}}
}

func only(events []string, name string) []string {
	var out []string
	for _, e := range events {
		if strings.Contains(e, `"event":"`+name+`"`) {
			out = append(out, e)
		}
	}
	return out
}

// A code that is there before is none of the test's; one that comes later is. Codes
// of several computers in one record are one reading.
func TestCodesOfAllComputersAreOneReading(t *testing.T) {
	const s = time.Second
	before := ask(1*s, s/10, obd.OK, "07", "47010171", "47010300")
	after := ask(60*s, s/10, obd.OK, "07", "4702017101310000", "47010300")
	after.Exchange.Replies[0].Data = []byte{0x47, 2, 0x01, 0x71, 0x01, 0x31}
	got := only(events(t, newJudge(t, obd.CAN11at500), []obd.Record{before, after}), "code_set")
	if len(got) != 1 || !strings.Contains(got[0], `"code":"P0131","pending":true`) {
		t.Errorf("got %q, want P0131 alone", got)
	}
}

func TestSilenceOffCANMeansNoCodes(t *testing.T) {
	const s = time.Second
	for bus, want := range map[obd.Bus]int{obd.VPW: 1, obd.CAN11at500: 0} {
		j := newJudge(t, bus)
		reply := "47017100000000"
		if bus.CAN() {
			reply = "47010171"
		}
		got := only(events(t, j, []obd.Record{ask(1*s, s/10, obd.NoData, "07"), ask(60*s, s/10, obd.OK, "07", reply)}), "code_set")
		if len(got) != want {
			t.Errorf("%v: %d codes set, want %d", bus, len(got), want)
		}
	}
}

// Every sink gets every frame, also when another fails; Run keeps the verdict.
func TestRunOutlivesASink(t *testing.T) {
	full := errors.New("full")
	src := list{row(0), row(time.Second), row(2 * time.Second)}
	var seen counter
	res, err := Run(context.Background(), &src, newJudge(t, obd.BusUnknown), failing{full}, &seen)
	if !errors.Is(err, full) {
		t.Errorf("error %v, want the sink's", err)
	}
	if seen != 2 { // the record at which it failed, and the end
		t.Errorf("the other sink saw %d frames, want 2", seen)
	}
	if res.Records != 1 || res.Verdict.Conclusion == "" {
		t.Errorf("result %+v", res)
	}
}

type failing struct{ err error }

func (f failing) Write(Frame) error { return f.err }

type counter int

func (c *counter) Write(Frame) error { *c++; return nil }
