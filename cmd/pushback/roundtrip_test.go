package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pushback/cmd/internal/intake"
	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/capture"
	"pushback/obd/poll"
	"pushback/obd/simcar"
	"pushback/store"
	"pushback/store/transfer"
)

// judgementOf is what `show --json` prints of a session, without its description.
func judgementOf(t *testing.T, db, ref string) string {
	t.Helper()
	out, _ := command(t, "show", ref, "--json", "--db", db)
	var s struct {
		Events  []json.RawMessage
		Verdict json.RawMessage
	}
	if err := json.Unmarshal([]byte(out), &s); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, line := range append(s.Events, s.Verdict) {
		b.Write(append(line, '\n'))
	}
	return b.String()
}

func metaOf(t *testing.T, path, ref string) store.Meta {
	t.Helper()
	db, err := store.Open(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	m, err := db.Find(context.Background(), ref)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// What is exported and imported again into another database by the commands is the same
// session: the description, each sample, the events and the verdict are equal, byte for
// byte, in every format that says it loses nothing; exchangesWhole asks the same of every
// simulated car without the commands. The wide table says what it leaves out; from what
// it holds the same conclusion follows.
func TestRoundTrip(t *testing.T) {
	if testing.Short() {
		t.Skip("a whole guided test, in every format")
	}
	for _, c := range []struct {
		car string
		bus obd.Bus
	}{{"healthy", obd.ISO9141}, {"circuit-code", obd.CAN11at250}} {
		t.Run(c.car+" "+c.bus.String(), func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			here := filepath.Join(dir, "here.db")
			a, _, errOut := testApp(t, here)
			car, err := simcar.Find(c.car)
			if err != nil {
				t.Fatal(err)
			}
			if err := guidedRun(t, a, car, c.bus, false); err != nil {
				var end concluded
				if !errors.As(err, &end) {
					t.Fatalf("%v\n%s", err, errOut)
				}
			}
			command(t, "sessions", "vehicle", "last", "grey van, \"the old one\"", "--db", here)
			command(t, "sessions", "note", "last", "of Mr. Nobody\nidles", "--db", here)
			before := metaOf(t, here, "last")
			samples, _ := command(t, "replay", "last", "--json", "--samples", "--db", here)
			judged := judgementOf(t, here, "last")
			for _, f := range intake.Formats {
				if f.Write == nil {
					continue
				}
				file, there := filepath.Join(dir, "x-"+f.Name+f.Extension), filepath.Join(dir, f.Name+".db")
				command(t, "export", "last", "--"+f.Name, "--with-notes", file, "--db", here)
				out, _ := command(t, "import", file, "--json", "--db", there)
				again := metaOf(t, there, "last")
				if f.Name == "csv" {
					replayed, _ := command(t, "replay", "last", "--json", "--db", there)
					if got := conclusion(t, replayed); got != before.Conclusion {
						t.Errorf("csv: concludes %s, was %s", got, before.Conclusion)
					}
					continue
				}
				if !strings.Contains(out, before.ID) {
					t.Errorf("%s: the id is another one: %s", f.Name, out)
				}
				if !again.Started.Equal(before.Started) {
					t.Errorf("%s: started %v, was %v", f.Name, again.Started, before.Started)
				}
				again.Started = before.Started
				if x, y := describeMeta(before), describeMeta(again); x != y {
					t.Errorf("%s: %s\nwas %s", f.Name, y, x)
				}
				if got := judgementOf(t, there, "last"); got != judged {
					t.Errorf("%s: judged differently%s", f.Name, firstDifference(judged, got))
				}
				if got, _ := command(t, "replay", "last", "--json", "--samples", "--db", there); got != samples {
					t.Errorf("%s: replays differently%s", f.Name, firstDifference(samples, got))
				}
				// From here to there a second time: the session is known, also without its notes.
				command(t, "export", "last", "--"+f.Name, file, "--db", here)
				if out, _ := command(t, "import", file, "--json", "--db", there); !strings.Contains(out, `"duplicate":true`) {
					t.Errorf("%s: the second import brings %s", f.Name, out)
				}
			}
		})
	}
}

func describeMeta(m store.Meta) string {
	b, _ := json.Marshal(m)
	return string(b)
}

// A capture that is imported is the session that was recorded beside it.
func TestCaptureRoundTrip(t *testing.T) {
	dir := t.TempDir()
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	sim, err := simcar.New(simcar.Config{Car: car, Bus: obd.CAN11at500, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "raw.txt")
	var text bytes.Buffer
	w := capture.NewWriter(&text, sim.Clock())
	a := obd.NewAdapter(w.Link(sim.Link()), sim.Clock(), obd.AdapterOptions{})
	live, format := liveRecords(t, a, sim, w)
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	db := filepath.Join(dir, "p.db")
	command(t, "import", path, "--db", db)
	m := metaOf(t, db, "last")
	if m.Format != format {
		t.Errorf("format %+v, was %+v", m.Format, format)
	}
	h := store.NewContent()
	for _, rec := range live {
		if err := h.Add(rec); err != nil {
			t.Fatal(err)
		}
	}
	s, err := store.Open(t.Context(), db)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if id, err := s.Same(t.Context(), h.Sum(), "B1S1", "wire"); err != nil || id != m.ID {
		t.Errorf("its records are not those of the live session: %q, %v", id, err)
	}
}

// Personal data stay at home unless they are asked for, in every format.
func TestExportRedacts(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "p.db")
	ctx := context.Background()
	db, err := store.Open(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	const vin, note, said = "1ZZZZ99ZZZZ999999", "owner is someone", "said so"
	w, err := db.Create(ctx, store.Meta{VIN: vin, Note: note, Label: "van " + vin, Vehicle: strings.ToLower(vin), Watching: "B1S1", By: "wire", Origin: "live",
		Format: obd.Format{Bus: obd.CAN11at500, Headers: true}})
	if err != nil {
		t.Fatal(err)
	}
	raw := "7E8 10 14 49 02 01 31 5A 5A \r7E8 21 5A 5A 39 39 5A 5A 5A \r7E8 22 5A 39 39 39 39 39 39 \r\r"
	for _, rec := range []obd.Record{
		{At: 0, Exchange: &obd.Exchange{Request: obd.Request{Service: 9, Data: []byte{2}}, Raw: []byte(raw)}},
		{Seq: 1, At: 1000, Mark: &obd.Mark{Kind: obd.MarkNote, Text: said}},
		{Seq: 2, At: 2000, Exchange: &obd.Exchange{Request: obd.Request{Service: 1, Data: []byte{0x0C}}, Raw: []byte("7E8 04 41 0C 0C 80 \r\r")}},
	} {
		if err := w.Append(rec, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), db.Close()); err != nil {
		t.Fatal(err)
	}
	for _, f := range intake.Formats {
		if f.Write == nil {
			continue
		}
		for _, keep := range []bool{false, true} {
			file := filepath.Join(dir, "out"+f.Extension)
			args := []string{"export", "last", "--" + f.Name, file, "--db", path}
			if keep {
				args = append(args, "--with-vin", "--with-notes")
			}
			command(t, args...)
			if fi, err := os.Stat(file); err != nil || fi.Mode().Perm() != 0o600 {
				t.Errorf("%s: %v, %v", f.Name, fi, err)
			}
			text := read(t, file)
			if f.Name == "parquet" || f.Name == "sqlite" { // packed: look at what a reader finds
				text = allText(t, f, file)
			}
			for _, secret := range []string{vin, note, said, "31 5A 5A"} {
				want := keep && f.Name != "csv" // which describes nothing
				if got := strings.Contains(strings.ToUpper(text), strings.ToUpper(secret)); got != want {
					t.Errorf("%s, kept %v: %q is there: %v", f.Name, keep, secret, got)
				}
			}
			if !keep && strings.Contains(strings.ToUpper(read(t, file)), vin) {
				t.Errorf("the VIN is somewhere in the %s file", f.Name)
			}
		}
	}
}

// allText is all that a file tells of its sessions.
func allText(t *testing.T, f transfer.Format, path string) string {
	t.Helper()
	r, err := f.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	m, err := r.Session(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	text := describeMeta(m)
	for {
		rec, err := r.Next(t.Context())
		if err != nil {
			return text
		}
		if rec.Exchange != nil {
			text += string(rec.Exchange.Raw)
		}
		if rec.Mark != nil {
			text += rec.Mark.Text
		}
	}
}

// All sessions of several laptops come into one database, each once, pairs kept.
func TestCollect(t *testing.T) {
	dir := t.TempDir()
	table := func(name, cells string) string {
		p := filepath.Join(dir, name)
		if err := os.WriteFile(p, []byte("t_s,O2S11,SHRTFT1\n"+cells), 0o600); err != nil {
			t.Fatal(err)
		}
		return p
	}
	one, two, fleet := filepath.Join(dir, "1.db"), filepath.Join(dir, "2.db"), filepath.Join(dir, "fleet.db")
	x, y, z := table("x.csv", "0,0.1,0\n1,0.8,0\n"), table("y.csv", "0,0.1,0\n1,0.7,0\n"), table("z.csv", "0,0.2,0\n")
	ids, _ := command(t, "import", x, y, "--db", one)
	first := strings.Fields(ids)
	command(t, "sessions", "pair", first[0], first[1], "--db", one)
	command(t, "import", y, z, "--db", two) // y on both
	for _, format := range []string{"--sqlite", "--parquet", "--long-csv"} {
		out1, out2 := filepath.Join(dir, "1"+format), filepath.Join(dir, "2"+format)
		command(t, "export", "--all", format, out1, "--db", one)
		command(t, "export", "--all", format, out2, "--db", two)
		command(t, "import", out1, out2, "--db", fleet)
		out, _ := command(t, "sessions", "--json", "--db", fleet)
		var list []sheet.Session
		if err := json.Unmarshal([]byte(out), &list); err != nil || len(list) != 3 {
			t.Fatalf("%s: %d sessions, %v: %s", format, len(list), err, out)
		}
	}
	if m := metaOf(t, fleet, first[1]); m.Before != first[0] {
		t.Errorf("the pair is lost: %+v", m)
	}
	// One session a file, the later one first: the pair is found when both are here.
	for _, format := range []string{"--parquet", "--long-csv"} {
		apart := filepath.Join(dir, "apart"+format+".db")
		for _, id := range []string{first[1], first[0]} {
			file := filepath.Join(dir, id+format)
			command(t, "export", id, format, file, "--db", one)
			command(t, "import", file, "--db", apart)
		}
		if m := metaOf(t, apart, first[1]); m.Before != first[0] {
			t.Errorf("%s: the pair is lost: %+v", format, m)
		}
	}
	// And the file of another laptop's database as it is.
	out, _ := command(t, "import", one, "--json", "--db", fleet)
	if strings.Count(out, `"duplicate":true`) != 2 {
		t.Error(out)
	}
}

// liveRecords records a few seconds of a simulated car.
func liveRecords(t *testing.T, a *obd.Adapter, sim *simcar.Sim, w *capture.Writer) ([]obd.Record, obd.Format) {
	t.Helper()
	p, err := poll.Open(t.Context(), a, sim.Clock(), poll.Config{Sensor: "B1S1", Bus: obd.CAN11at500})
	if err != nil {
		t.Fatal(err)
	}
	w.Session(p.Origin(), p.Vehicle().Format, "")
	var all []obd.Record
	for len(all) < 500 {
		rec, err := p.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rec)
	}
	p.Stop()
	for {
		rec, err := p.Next(t.Context())
		if errors.Is(err, io.EOF) {
			return all, p.Vehicle().Format
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rec)
	}
}
