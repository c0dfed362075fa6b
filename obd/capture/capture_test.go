package capture_test

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
	"pushback/obd/capture"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// TestRoundTrip: the records of a capture are those of the session that it was made of.
func TestRoundTrip(t *testing.T) {
	for _, tt := range []struct {
		car string
		bus obd.Bus
	}{
		{"v-engine", obd.CAN11at500}, {"v-engine", obd.CAN29at250}, {"v-engine", obd.ISO9141}, {"v-engine", obd.VPW},
		{"obd-on-uds", obd.CAN11at500}, {"obd-on-uds-long", obd.CAN29at500},
	} {
		t.Run(tt.car+" "+tt.bus.String(), func(t *testing.T) {
			car, err := simcar.Find(tt.car)
			if err != nil {
				t.Fatal(err)
			}
			s, err := simcar.New(simcar.Config{Car: car, Bus: tt.bus, Seed: 1, MaxBaud: 500_000, Loss: 0.02})
			if err != nil {
				t.Fatal(err)
			}
			var text bytes.Buffer
			w := capture.NewWriter(&text, s.Clock())
			a := obd.NewAdapter(w.Link(s.Link()), s.Clock(), obd.AdapterOptions{MaxBaud: 500_000})
			p, err := poll.Open(t.Context(), a, s.Clock(), poll.Config{Sensor: "B1S1", Bus: tt.bus})
			if err != nil {
				t.Fatal(err)
			}
			w.Session(p.Origin(), p.Vehicle().Format, `{"id":"b7kqrt"}`)
			var live []obd.Record
			for i := 0; ; i++ {
				var m obd.Mark
				switch i {
				case 100:
					m = obd.Mark{Kind: obd.MarkLean}
				case 110:
					m = obd.Mark{Kind: obd.MarkNote, Text: "a \"note\"\nof two lines"}
				case 150:
					m = obd.Mark{Kind: obd.MarkStop}
				}
				if m.Kind != "" {
					w.Mark(m)
					p.Mark(m)
				}
				r, err := p.Next(t.Context())
				if err == io.EOF {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				live = append(live, r)
			}
			if err := a.Close(t.Context()); err != nil {
				t.Fatal(err)
			}
			if err := w.Flush(); err != nil {
				t.Fatal(err)
			}
			c, err := capture.NewReader(&text)
			if err != nil {
				t.Fatal(err)
			}
			if c.Format() != p.Vehicle().Format {
				t.Errorf("format %+v, want %+v", c.Format(), p.Vehicle().Format)
			}
			var read []obd.Record
			for {
				r, err := c.Next(t.Context())
				if err == io.EOF {
					break
				}
				if err != nil {
					t.Fatal(err)
				}
				read = append(read, r)
			}
			// What a request expects is not part of a record's truth: it may go unsaid.
			for _, all := range [][]obd.Record{live, read} {
				for i := range all {
					if x := all[i].Exchange; x != nil {
						x.Request.Expect = 0
						if x.Request.Data == nil {
							x.Request.Data = []byte{}
						}
					}
				}
			}
			if d := cmp.Diff(live, read); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestReader(t *testing.T) {
	const good = "pushback capture 1\n# 2026-05-01T10:00:00Z\n0.5 > \"0100\\r\"\n0.6 < \"0100\\r7E8064100BE3FB81300\\r\\r>\"\n1 = can11-500 headers padded\n"
	for _, c := range []struct {
		name, text string
		want       []obd.Outcome
		fails      string
	}{
		{"nothing before the session counts", good, nil, ""},
		{"a reply, an echo in two pieces", good + "2 > \"01\"\n2.1 < \"01\"\n2.2 > \"14\\r\"\n2.3 < \"14\\r7E8044114\"\n2.4 < \"5A80000000\\r\"\n2.5 < \"\\r>\"\n", []obd.Outcome{obd.OK}, ""},
		{"no reply", good + "2 > \"0114\\r\"\n5 > \"AT\\r\"\n5.1 < \"AT\\r?\\r>\"\n", []obd.Outcome{obd.TimedOut}, ""},
		{"the line is lost", good + "2 > \"0114\\r\"\n3 x \"gone\"\n", []obd.Outcome{obd.LinkLost}, ""},
		{"cut off", good + "2 > \"0114\\r\"\n", []obd.Outcome{obd.TimedOut}, ""},
		{"no car", "pushback capture 1\n0.5 > \"0100\\r\"\n", nil, "no car was found"},
		{"something else", "time,rpm\n1,800\n", nil, "not a capture"},
		{"empty", "", nil, "not a capture"},
		{"no such bus", "pushback capture 1\n0 = morse\n", nil, "line 2"},
		{"no quotes", good + "2 > 0114\n", nil, "line 6"},
		{"no such mark", good + "2 ! left\n", nil, "line 6"},
		{"no time", good + "soon > \"0114\"\n", nil, "line 6"},
		{"no number", good + "NaN > \"0114\"\n", nil, "line 6"},
		{"no such sign", good + "2 ? \"0114\"\n", nil, "line 6"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := readAll(t, c.text)
			if c.fails == "" && err != nil || c.fails != "" && (err == nil || !strings.Contains(err.Error(), c.fails)) {
				t.Fatalf("error %v, want %q", err, c.fails)
			}
			var outcomes []obd.Outcome
			for _, r := range got {
				outcomes = append(outcomes, r.Exchange.Outcome)
			}
			if d := cmp.Diff(c.want, outcomes); d != "" {
				t.Error(d)
			}
		})
	}
}

func readAll(t testing.TB, text string) ([]obd.Record, error) {
	c, err := capture.NewReader(strings.NewReader(text))
	if err != nil {
		return nil, err
	}
	var all []obd.Record
	for {
		r, err := c.Next(t.Context())
		if err == io.EOF {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, r)
	}
}

type full struct{ room int }

func (f *full) Write(p []byte) (int, error) {
	if f.room -= len(p); f.room < 0 {
		return 0, errors.New("disk full")
	}
	return len(p), nil
}

// TestDiskFull: the dialogue goes on, and Flush tells.
func TestDiskFull(t *testing.T) {
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	s, err := simcar.New(simcar.Config{Car: car, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	w := capture.NewWriter(&full{1000}, s.Clock())
	a := obd.NewAdapter(w.Link(s.Link()), s.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(t.Context(), a, s.Clock(), poll.Config{})
	if err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if r, err := p.Next(t.Context()); err != nil || r.Exchange.Outcome != obd.OK {
			t.Fatalf("%+v, %v", r.Exchange, err)
		}
	}
	if err := w.Flush(); err == nil {
		t.Error("nobody tells that the disk is full")
	}
}

// FuzzReader: any text gives records in order, or an error.
func FuzzReader(f *testing.F) {
	f.Add("pushback capture 1\n1 = can11-500 headers padded\n2 > \"01\"\n2.1 < \"01\"\n2.2 > \"14\\r\"\n2.3 < \"14\\r7E80441145A80000000\\r\\r>\"\n")
	f.Add("pushback capture 1\n1 = iso9141 headers\n2 ! note \"x\"\n3 > \"\\r\\r\\r\"\n3 < \">>\"\n4 x \"\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, _ := readAll(t, text)
		last := time.Duration(0)
		for i, r := range all {
			if r.Seq != int64(i) || r.At < last || (r.Exchange == nil) == (r.Mark == nil) {
				t.Fatalf("record %d: %+v", i, r)
			}
			last = r.At
		}
	})
}
