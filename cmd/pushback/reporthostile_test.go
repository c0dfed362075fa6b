package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

const hostileText = "</title></style><script>alert(1)</script><img src=x onerror=alert(2)>\"'>\x1b[31m\x07"

// A stranger's table with hostile words wherever it can hold some comes out as words, in
// the report and in its figures.
func TestReportOfHostileTable(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("such a file name is not possible")
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	dir := t.TempDir()
	wide := func(name, volts string) string {
		var text bytes.Buffer
		w := csv.NewWriter(&text)
		rows := [][]string{{"t_s", volts, "SHRTFT1", "ECT", "FUELSYS1", "RPM", "mark"}}
		for i := range 200 {
			rows = append(rows, []string{fmt.Sprint(float64(i) / 4), "0.45", "0", "90", "2", "800", map[int]string{50: "lean", 120: "release"}[i]})
		}
		path := filepath.Join(dir, name)
		if err := w.WriteAll(rows); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, text.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}

	// A wide table has words in its name and its head; the others are said beside it.
	db := filepath.Join(dir, "wide.db")
	column := strings.NewReplacer("=", "", ":", "").Replace(hostileText)
	args := []string{"import", wide(strings.ReplaceAll(hostileText, "/", "")+".csv", column), "--db", db, "--map", column + "=O2S11:V",
		"--label", hostileText, "--note", hostileText, "--vehicle", hostileText}
	for _, c := range []string{"t_s=t_s:s", "SHRTFT1=SHRTFT1:%", "ECT=ECT:°C", "FUELSYS1=FUELSYS1", "RPM=RPM:rpm", "mark=mark"} {
		args = append(args, "--map", c)
	}
	command(t, args...)
	comesOutAsWords(t, db, 3)

	// A long one has a description, and notes with their time. Text in it may hold NUL.
	long, other := filepath.Join(dir, "long.csv"), filepath.Join(dir, "other.db")
	command(t, "import", wide("plain.csv", "O2S11"), "--db", other)
	command(t, "export", "last", "--with-notes", "--long-csv", long, "--db", other)
	data, err := os.ReadFile(long)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	notes := 0
	for _, row := range rows {
		switch {
		case row[4] == "session":
			d := map[string]any{}
			if err := json.Unmarshal([]byte(row[12]), &d); err != nil {
				t.Fatal(err)
			}
			for _, name := range []string{"label", "vehicle", "note", "adapter", "version", "by", "vin"} {
				d[name] = hostileText + "\x00"
			}
			d["sensors"] = []string{"B1S1", hostileText}
			text, err := json.Marshal(d)
			if err != nil {
				t.Fatal(err)
			}
			row[12] = string(text)
		case row[4] == "mark" && row[5] == "release":
			row[5], row[12] = "note", hostileText+"\x00"
			notes++
		}
	}
	if notes != 1 {
		t.Fatalf("%d notes", notes)
	}
	var text bytes.Buffer
	if err := csv.NewWriter(&text).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(long, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	db = filepath.Join(dir, "long.db")
	command(t, "import", long, "--db", db)
	comesOutAsWords(t, db, 5)
}

// comesOutAsWords looks for hostile words that live in the report of a database's newest
// session, in its figures and in what show prints. Shown as words they must be so often.
func comesOutAsWords(t *testing.T, db string, often int) {
	t.Helper()
	steers := func(where, text string) {
		if i := strings.IndexAny(text, "\x00\x1b\x07"); i >= 0 {
			t.Errorf("%s holds %q", where, text[max(0, i-30):i+1])
		}
	}
	page, _ := reportOf(t, db, "last", "--with-vin", "--complaint", hostileText)
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	shown := 0
	for n := range doc.Descendants() {
		switch n.Type {
		case html.ElementNode:
			if slices.Contains([]string{"script", "img", "iframe", "object", "link"}, n.Data) {
				t.Errorf("the report has a %s", n.Data)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") {
					t.Errorf("%s has %s=%q", n.Data, a.Key, a.Val)
				}
			}
		case html.TextNode:
			shown += strings.Count(n.Data, "<script>alert(1)</script><img src=x onerror=alert(2)>")
		}
	}
	if shown < often {
		t.Errorf("the report shows the words %d times: nothing is tested here", shown)
	}
	steers("the report", page)
	for _, figure := range []string{"traces", "ring"} {
		svg, _ := reportOf(t, db, "last", "--svg", figure)
		steers(figure, svg)
		for d := xml.NewDecoder(strings.NewReader(svg)); ; {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", figure, err)
			}
			if e, ok := tok.(xml.StartElement); ok && !slices.Contains([]string{"svg", "style", "rect", "path", "line", "text", "g", "title", "circle"}, e.Name.Local) {
				t.Errorf("%s has an element %s", figure, e.Name.Local)
			}
		}
	}
	told, _ := command(t, "show", "last", "--db", db)
	steers("show", told)
}
