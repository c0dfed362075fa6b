package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"pushback/analysis"
	"pushback/obd"
	"pushback/obd/simcar"
)

// The parts of a report, in order and without values: landmarks, headings, figures, tables
// with their heads, lists of facts. go test ./cmd/pushback -run ReportShape -update
func TestReportShape(t *testing.T) {
	if testing.Short() {
		t.Skip("whole sessions")
	}
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	db := filepath.Join(t.TempDir(), "p.db")
	guided := func(name string, want analysis.Conclusion) string {
		a, _, _ := testApp(t, db)
		_ = guidedRun(t, a, simCar(t, name), obd.ISO9141, false) // the status is the verdict's
		m := metaOf(t, db, "last")
		if m.Conclusion != string(want) {
			t.Errorf("%s: %s, want %s", name, m.Conclusion, want)
		}
		return m.ID
	}
	driven := func(name string, seed uint64) string {
		return recordSim(t, db, simcar.Config{Car: simCar(t, name), Bus: obd.ISO9141, Seed: seed, Drive: simcar.Town}, 10*time.Minute)
	}
	for name, sessions := range map[string][]string{
		"proven":  {guided("healthy", analysis.LoopProven)},
		"unclear": {guided("vacuum-leak-large", analysis.ConclusionUnclear)},
		"repair":  {driven("vacuum-leak-large", 1), driven("healthy", 2)},
		"cured":   {guided("sensor-dead-low", analysis.SensorDead), guided("healthy", analysis.LoopProven)},
	} {
		page, _ := reportOf(t, db, sessions...)
		got := shapeOf(t, page)
		file := filepath.Join("testdata", "report", name+".txt")
		if *update {
			if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s: another shape; -update takes it%s", name, firstDifference(string(want), got))
		}
	}
}

// shapeOf writes a line for each part of a page, indented by the landmarks that hold it.
func shapeOf(t *testing.T, page string) string {
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	values := regexp.MustCompile(`[+-]?[0-9]+(\.[0-9]+)?`)
	words := func(n *html.Node) string {
		var b strings.Builder
		for c := range n.Descendants() {
			if c.Type == html.TextNode {
				b.WriteString(c.Data)
			}
		}
		return values.ReplaceAllString(strings.Join(strings.Fields(b.String()), " "), "#")
	}
	labels := map[string]string{}
	for n := range doc.Descendants() {
		if id := attrOf(n, "id"); id != "" {
			labels[id] = words(n)
		}
	}
	var out strings.Builder
	var walk func(n *html.Node, depth int)
	walk = func(n *html.Node, depth int) {
		line := func(text string) { fmt.Fprintf(&out, "%s%s\n", strings.Repeat("  ", depth), strings.TrimSpace(text)) }
		switch {
		case n.Type != html.ElementNode:
		case n.Data == "main" || n.Data == "header":
			line(n.Data)
			depth++
		case n.Data == "section":
			label := attrOf(n, "aria-label")
			if by := attrOf(n, "aria-labelledby"); by != "" && by != "answer" {
				label = labels[by]
			}
			line("section " + label)
			depth++
		case n.Data == "h1":
			line("h1") // the answer
		case n.Data == "h2" || n.Data == "h3":
			text := words(n)
			if strings.HasPrefix(text, "Bank #") {
				text = "Bank #" // what follows is its answer
			}
			line(n.Data + " " + text)
		case n.Data == "table":
			var heads []string
			for c := range n.Descendants() {
				if c.Data == "th" && attrOf(c, "scope") == "col" {
					heads = append(heads, words(c))
				}
			}
			line("table " + strings.Join(heads, " | "))
		case n.Data == "figure":
			title := ""
			for c := range n.Descendants() {
				if slices.Contains([]string{"b", "figcaption"}, c.Data) && title == "" {
					title = words(c)
				}
			}
			line("figure " + title)
		case n.Data == "svg" && attrOf(n, "role") == "img":
			line("drawing " + strings.Fields(attrOf(n, "class"))[0])
		case n.Data == "dl":
			line("facts")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c, depth)
		}
	}
	walk(doc, 0)
	return out.String()
}

func attrOf(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}
