package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"pushback/analysis"
	"pushback/analysis/compare"
	"pushback/analysis/dossier"
	"pushback/analysis/reason"
	"pushback/analysis/series"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

var b1s1 = decode.SensorID{Bank: 1, Position: 1}

// sample is a report with something in each of its places; text stands wherever words
// from outside come in.
func sample(text string, sides int) *Report {
	r := &Report{Program: "test", Made: time.Date(2026, 5, 4, 3, 2, 1, 0, time.UTC),
		Shop: Shop{Name: text, Technician: text, Vehicle: text, Odometer: text, Complaint: text}}
	for i := range sides {
		t := dossier.NewTrace(b1s1)
		for k := range 400 {
			at := float64(k) / 4
			volts := 0.45 + 0.4*math.Sin(at*6)
			if k == 50 {
				volts = math.NaN()
			}
			t.Volts.Add(time.Duration(k)*time.Second/4, volts)
			t.Trim.Add(time.Duration(k)*time.Second/4, 3*math.Sin(at*6))
		}
		t.End = 100
		t.Holds = []dossier.Hold{{Side: analysis.Lean, From: 20, To: 35}, {Side: analysis.Rich, From: 55, To: 70}}
		t.Gaps = [][2]float64{{80, 84}}
		t.Ticks = []dossier.Tick{
			{At: 20 * time.Second, Event: &analysis.Event{T: 20, Name: analysis.ForceBegins, Side: analysis.Lean}},
			{At: 36 * time.Second, Mark: &obd.Mark{Kind: obd.MarkNote, Text: text}},
			{At: 84 * time.Second, Event: &analysis.Event{T: 84, Name: analysis.CodeSet, Code: text}},
		}
		s := &Subject{Session: store.Meta{ID: "abc234", Started: r.Made, Duration: 100 * time.Second, Watching: text, By: text, Origin: "import",
			Sensors: []string{text}, Vehicle: text, Label: text, Note: text, Adapter: text, Version: text},
			VIN: text, Records: 400, Hash: make([]byte, 32), Trace: t,
			Verdict: analysis.Verdict{Conclusion: analysis.SensorDead, Next: []reason.Reason{reason.Told.Of(text)}},
			Events: []analysis.Event{{T: 1, Name: analysis.Ready, Reasons: []reason.Reason{reason.Told.Of(text)}}, {T: 84, Name: analysis.CodeSet, Code: text},
				{T: 90, Name: analysis.GapSeen, Cause: text}},
			Figures: analysis.Figures{PerSecond: 4, CanCountHz: 2},
			Facts:   []words.Fact{{What: text, Text: text}}, Resting: []words.Fact{{What: text, Text: text}}, Switching: Table{[]string{text, text}, [][]string{{text, text}}, text},
			Told: Told{Monitors: []words.Fact{{What: text, Text: text}}, OwnTests: []words.Fact{{What: text, Text: text}}, Freeze: []Frozen{{text, []words.Fact{{What: text, Text: text}}}}, After: []string{text}, Codes: []Code{{text, "stored", text, "there", "there", true}}},
			Map: trimmap.Map{Data: someTrims(), Next: reason.Told.Of(text), Limits: []reason.Reason{reason.Told.Of(text)}, Banks: []trimmap.Result{{Bank: 1, Says: reason.Told.Of(text), Points: []reason.Reason{reason.Told.Of(text)}, Limits: []reason.Reason{reason.Told.Of(text)}, Fit: trimmap.FitBank(someTrims().Readings, 1),
				Cells: []trimmap.Cell{{CellAt: trimmap.CellAt{Speed: 0, Load: 1}, Count: 30, Mean: 12, SD: 1}}}}}}
		for k, id := range analysis.ProofOrder {
			s.Verdict.Proofs = append(s.Verdict.Proofs, analysis.Proof{ID: id, State: []analysis.State{analysis.Proven, analysis.Failed, analysis.Unclear, analysis.Untested}[k%4],
				Why: reason.Told.Of(text), Evidence: map[string]float64{"after_s": 1, "after_min_s": 0.8, "after_max_s": 1.3, "rate_pct_s": 2}})
		}
		if sides == 2 {
			s.Title = []string{"Before", "After"}[i]
		}
		r.Subjects = append(r.Subjects, s)
	}
	if sides == 2 {
		r.Compare = &Comparison{Answer: compare.Better, Why: text, Mean: []float64{12, -1}, Trims: [][]string{{"1", text, "", "", "", "", "", ""}},
			Sensor: [][]string{{text, text, text}}, Force: [][]string{{text, text, text}}, Codes: [][]string{{text, text, text, text}}, Open: [2]string{text, text}, Limits: []string{text}}
	}
	return r
}

// someTrims are readings of a car that adds more fuel the less air it draws.
func someTrims() trimmap.Data {
	var readings []trimmap.Reading
	for i := range 200 {
		flow := 2 + float64(i%20)
		readings = append(readings, trimmap.Reading{At: float64(i), Bank: 1, Short: 30/flow + float64(i%3), Flow: flow, RPM: 800, Load: 20})
	}
	return trimmap.Data{Flow: trimmap.Metered, FlowUnit: "g/s", Readings: slices.Values(readings), Count: len(readings)}
}

func pageOf(t testing.TB, r *Report) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// elements calls f for each element of a page.
func elements(n *html.Node, f func(*html.Node)) {
	if n.Type == html.ElementNode {
		f(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		elements(c, f)
	}
}

func attr(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func textOf(n *html.Node) string {
	var b strings.Builder
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		if n.Type == html.TextNode && n.Parent.Data != "style" {
			b.WriteString(n.Data + "\n")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(n)
	return b.String()
}

var hostile = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onload='alert(1)`, `</style><script>alert(1)</script>`, `</title><svg onload=alert(1)>`,
	`<svg><script>alert(1)</script></svg>`, `</text></svg><script>alert(1)</script>`, `javascript:alert(1)`, `{{.Shop}}`, `<!--`, `]]>`, "a\x00b\u202e", "\x1b[31m\x07\ufffe\xff", `\3c script`, `<iframe srcdoc="x">`,
}

// Words from outside inject nothing, wherever they stand: the page has the same elements
// and attributes as one of harmless words, and shows the words as they are.
func TestHostileWords(t *testing.T) {
	shape := func(page []byte) (out []string) {
		doc, err := html.Parse(bytes.NewReader(page))
		if err != nil {
			t.Fatal(err)
		}
		elements(doc, func(n *html.Node) {
			s := n.Data
			for _, a := range n.Attr {
				s += " " + a.Key
			}
			out = append(out, s)
		})
		return out
	}
	for _, sides := range []int{1, 2} {
		want := shape(pageOf(t, sample("harmless", sides)))
		for _, text := range hostile {
			page := pageOf(t, sample(text, sides))
			if got := shape(page); !slices.Equal(got, want) {
				t.Errorf("%q changes the page's elements", text)
			}
			doc, _ := html.Parse(bytes.NewReader(page))
			shown := strings.ReplaceAll(text, "\x00", "\ufffd")
			if n := strings.Count(textOf(doc), shown); n < 20 {
				t.Errorf("%q is shown %d times", text, n)
			}
		}
	}
}

// A figure as a file of its own is well-formed XML, with nothing of the words in it but
// words.
func TestFigureFiles(t *testing.T) {
	for _, figure := range []string{"ring", "traces", "lean", "rich", "trims"} {
		for _, text := range append([]string{"harmless"}, hostile...) {
			var b bytes.Buffer
			if err := sample(text, 1).WriteSVG(&b, figure); err != nil {
				t.Fatal(err)
			}
			for d := xml.NewDecoder(&b); ; {
				tok, err := d.Token()
				if err == io.EOF {
					break
				}
				if err != nil {
					t.Fatalf("%s of %q: %v", figure, text, err)
				}
				e, ok := tok.(xml.StartElement)
				if ok && !slices.Contains([]string{"svg", "style", "rect", "path", "line", "text", "g", "title", "circle"}, e.Name.Local) {
					t.Errorf("%s of %q has an element %s", figure, text, e.Name.Local)
				}
			}
		}
	}
	r := sample("x", 1)
	r.Subjects[0].Trace.Holds = nil
	if err := r.WriteSVG(io.Discard, "lean"); !errors.Is(err, ErrNoForce) {
		t.Errorf("no force: %v", err)
	}
	r.Subjects[0].Map.Readings = slices.Values([]trimmap.Reading(nil))
	if err := r.WriteSVG(io.Discard, "trims"); !errors.Is(err, ErrNoTrims) {
		t.Errorf("no trims: %v", err)
	}
}

// void elements have no end tag (HTML standard, 13.1.2).
var void = []string{"meta", "br", "img", "input", "hr", "link", "col"}

// The page is whole: each element is closed where it was opened, ids are there once and
// what points to one finds it, headings go down one step at a time from one h1, pictures
// have words, tables have heads, and nothing comes from outside.
func TestPageIsValid(t *testing.T) {
	for _, sides := range []int{1, 2} {
		page := pageOf(t, sample("words", sides))
		var open []string
		for z := html.NewTokenizer(bytes.NewReader(page)); ; {
			kind := z.Next()
			if kind == html.ErrorToken {
				break
			}
			name, _ := z.TagName()
			switch kind {
			case html.StartTagToken:
				if !slices.Contains(void, string(name)) {
					open = append(open, string(name))
				}
			case html.EndTagToken:
				if len(open) == 0 || open[len(open)-1] != string(name) {
					t.Fatalf("</%s> closes %v", name, open)
				}
				open = open[:len(open)-1]
			}
		}
		if len(open) > 0 {
			t.Errorf("not closed: %v", open)
		}
		doc, err := html.Parse(bytes.NewReader(page))
		if err != nil {
			t.Fatal(err)
		}
		ids, heading, h1 := map[string]bool{}, 0, 0
		elements(doc, func(n *html.Node) {
			if id := attr(n, "id"); id != "" {
				if ids[id] {
					t.Errorf("id %q is there twice", id)
				}
				ids[id] = true
			}
		})
		elements(doc, func(n *html.Node) {
			if to := attr(n, "aria-labelledby"); to != "" && !ids[to] {
				t.Errorf("%s is labelled by %q, which is not there", n.Data, to)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "href" || (a.Key == "src" && !strings.HasPrefix(a.Val, "data:image/")) {
					t.Errorf("%s has %s=%q", n.Data, a.Key, a.Val)
				}
			}
			switch n.Data {
			case "h1", "h2", "h3", "h4":
				level := int(n.Data[1] - '0')
				if level > heading+1 {
					t.Errorf("%s %q follows h%d", n.Data, strings.TrimSpace(textOf(n)), heading)
				}
				if heading = level; level == 1 {
					h1++
				}
			case "img":
				if attr(n, "alt") == "" {
					t.Error("a picture without words")
				}
			case "svg":
				if n.Parent.Data != "svg" && attr(n, "aria-hidden") == "" && (attr(n, "role") != "img" || attr(n, "aria-label") == "") {
					t.Errorf("a drawing without words: %v", n.Attr)
				}
			case "th":
				if attr(n, "scope") == "" {
					t.Errorf("a table's head %q without scope", textOf(n))
				}
			case "script", "iframe", "object", "embed", "link", "form", "base":
				t.Errorf("there is a %s", n.Data)
			}
		})
		if h1 != 1 {
			t.Errorf("%d h1", h1)
		}
		style := regexp.MustCompile(`(?s)<style>(.*?)</style>`).FindSubmatch(page)
		sum := sha256.Sum256(style[1])
		if want := "sha256-" + base64.StdEncoding.EncodeToString(sum[:]); !strings.Contains(html.UnescapeString(string(page)), "style-src '"+want+"'") {
			t.Error("the policy does not name the style sheet")
		}
		if bytes.Contains(style[1], []byte("url(")) || bytes.Contains(style[1], []byte("@import")) {
			t.Error("the style sheet fetches something")
		}
	}
}

// Contrast of words is at least 4.5 : 1, of lines 3 : 1 (WCAG 2.2, success criteria 1.4.3
// and 1.4.11), on paper and on the shades of forces.
func TestContrast(t *testing.T) {
	hex := map[string][3]float64{}
	for _, m := range regexp.MustCompile(`--([a-z]+):(#[0-9a-f]+)`).FindAllStringSubmatch(colours, -1) {
		hex[m[1]] = rgb(t, m[2])
	}
	mix := func(c [3]float64, part float64) (out [3]float64) {
		for i := range c {
			out[i] = part*c[i] + (1-part)*hex["paper"][i]
		}
		return out
	}
	shades := map[string][3]float64{"paper": hex["paper"], "lean": mix(hex["lean"], 0.16), "rich": mix(rgb(t, "#e69f00"), 0.3)}
	if !strings.Contains(plotCSS, ".band.lean{fill:var(--lean);opacity:.16}.band.rich{fill:#e69f00;opacity:.3}") {
		t.Error("the shades are others than those measured here")
	}
	check := func(what string, on [3]float64, least float64) {
		c, ok := hex[what]
		if !ok {
			t.Fatalf("no colour %s", what)
		}
		if r := contrast(c, on); r < least {
			t.Errorf("%s: %.2f, below %.1f", what, r, least)
		}
	}
	for _, c := range []string{"ink", "quiet", "lean", "rich", "good", "bad", "doubt"} {
		check(c, hex["paper"], 4.5)
	}
	for _, s := range shades {
		check("ink", s, 4.5)
		check("down", s, 3)
	}
	// The example of WCAG's own technique G18: #767676 on white is 4.54 : 1.
	if r := contrast(rgb(t, "#767676"), rgb(t, "#fff")); math.Abs(r-4.54) > 0.01 {
		t.Errorf("#767676 on white: %.3f", r)
	}
}

func rgb(t *testing.T, s string) (out [3]float64) {
	s = s[1:]
	if len(s) == 3 {
		s = string([]byte{s[0], s[0], s[1], s[1], s[2], s[2]})
	}
	v, err := strconv.ParseUint(s, 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	for i := range out {
		out[i] = float64(v>>(16-8*i)&255) / 255
	}
	return out
}

// contrast is the ratio of relative luminances (WCAG 2.2, definitions).
func contrast(a, b [3]float64) float64 {
	lum := func(c [3]float64) (l float64) {
		for i, v := range c {
			if v <= 0.04045 {
				v /= 12.92
			} else {
				v = math.Pow((v+0.055)/1.055, 2.4)
			}
			l += v * []float64{0.2126, 0.7152, 0.0722}[i]
		}
		return l
	}
	x, y := lum(a), lum(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// packed are points as a trace keeps them.
func packed(points []series.Point) *series.Series {
	var s series.Series
	for _, p := range points {
		s.Add(time.Duration(math.Round(p.T*1e9)), p.V)
	}
	return &s
}

// What is drawn has every column's lowest and highest reading, in order of time, at most
// four points a column, and nothing that was not read.
func TestThinKeepsPeaks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.Float64Range(0.001, 0.5), 1, 600).Draw(t, "steps")
		var points []series.Point
		at := 0.0
		for i, s := range steps {
			at = time.Duration((at + s) * 1e9).Seconds()
			points = append(points, series.Point{T: at, V: float64((i * 7919) % 101)})
		}
		columns := rapid.IntRange(1, 50).Draw(t, "columns")
		from, to := 0.0, at+0.001
		var drawn []series.Point
		for _, r := range thin(packed(points), from, to, columns).runs {
			drawn = append(drawn, r...)
		}
		column := func(p series.Point) int { return int(math.Floor((p.T - from) / (to - from) * float64(columns))) }
		lo, hi, n := map[int]float64{}, map[int]float64{}, map[int]int{}
		for _, p := range drawn {
			if !slices.Contains(points, p) {
				t.Fatalf("%v was never read", p)
			}
			k := column(p)
			if n[k]++; n[k] > 4 {
				t.Fatalf("more than four points in column %d", k)
			}
			if n[k] == 1 {
				lo[k], hi[k] = p.V, p.V
			}
			lo[k], hi[k] = min(lo[k], p.V), max(hi[k], p.V)
		}
		for _, p := range points {
			if k := column(p); n[k] == 0 || p.V < lo[k] || p.V > hi[k] {
				t.Fatalf("%v is beyond what column %d draws", p, k)
			}
		}
		if !slices.IsSortedFunc(drawn, func(a, b series.Point) int { return int(1e9 * (a.T - b.T)) }) {
			t.Fatal("not in order of time")
		}
	})
}

// A line is broken where nothing came.
func TestThinBreaks(t *testing.T) {
	var points []series.Point
	for i := range 100 {
		points = append(points, series.Point{T: float64(i) / 10, V: 0.5})
	}
	points[30].V = math.NaN()
	points = append(points[:60:60], points[90:]...)
	if n := len(thin(packed(points), 0, 10, 1000).runs); n != 3 {
		t.Errorf("%d runs, want 3: before the lost reading, before the pause, after it", n)
	}
}

func TestLogo(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 30, 20))); err != nil {
		t.Fatal(err)
	}
	l, err := ReadLogo(write("a.txt", b.Bytes()))
	if err != nil || !strings.HasPrefix(string(l.URI), "data:image/png;base64,") {
		t.Errorf("a PNG: %v, %v", l, err)
	}
	r := sample("words", 1)
	r.Shop.Logo = l
	if !bytes.Contains(pageOf(t, r), []byte(`<img src="data:image/png;base64,`)) {
		t.Error("the logo is not in the page")
	}
	for name, data := range map[string][]byte{
		"script.svg": []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>`),
		"page.png":   []byte(`<script>alert(1)</script>`),
		"big.png":    append(b.Bytes(), make([]byte, logoBytes)...),
		"empty.png":  nil,
	} {
		if _, err := ReadLogo(write(name, data)); !errors.Is(err, ErrLogo) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := ReadLogo(filepath.Join(dir, "none.png")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

// The largest zoom that is offered has a column for about each pixel of the widest page,
// and the frame of a curve has room for what a column holds.
func TestColumnsSuitTheZoom(t *testing.T) {
	widest := 0.0
	for _, m := range regexp.MustCompile(`\.plot\{width:([0-9]+)%`).FindAllStringSubmatch(pageCSS, -1) {
		n, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		widest = max(widest, n/100)
	}
	if widest < 2 || !strings.Contains(page, fmt.Sprintf(` %g×</label>`, widest)) {
		t.Fatalf("zoom %g is not the one that the page offers", widest)
	}
	if !strings.Contains(pageCSS, "max-width:60rem;padding:1.2rem") || !strings.Contains(pageCSS, "html{font:15px") {
		t.Fatal("the page has another width than here")
	}
	px := widest * (60*15 - 2*1.2*15 - gutter) / fine
	if px > 1.5 {
		t.Errorf("a column is %.2f px wide at zoom %g", px, widest)
	}
	if frame < 4*fine {
		t.Errorf("a frame of %d has no room for four points in each of %d columns", frame, fine)
	}
}

// A curve's path, read as SVG 2 has it (9.3), goes through the points that were kept.
func TestCurveGoesThroughItsPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		points, at := []series.Point{}, 0.0
		for _, step := range rapid.SliceOfN(rapid.Float64Range(0.0001, 3), 2, 80).Draw(t, "steps") {
			at = time.Duration((at + step) * 1e9).Seconds()
			points = append(points, series.Point{T: at, V: rapid.Float64Range(0, 1).Draw(t, "v")})
		}
		d := &drawing{v: view{from: 0, to: at, volts: scale{0, 1}}}
		d.curve("volts", thin(packed(points), 0, at, fine).runs, d.v.volts, 0, 100)
		path := regexp.MustCompile(` d="([^"]*)"`).FindStringSubmatch(d.String())[1]
		var got [][2]int64
		var x, y int64
		for _, part := range regexp.MustCompile(`[Mlh][^Mlh]*`).FindAllString(path, -1) {
			var n []int64
			for _, s := range regexp.MustCompile(`-?[0-9]+`).FindAllString(part, -1) {
				v, err := strconv.ParseInt(s, 10, 64)
				if err != nil {
					t.Fatal(err)
				}
				n = append(n, v)
			}
			switch part[0] {
			case 'M':
				x, y = n[0], n[1]
				got = append(got, [2]int64{x, y})
			case 'l':
				if len(n) == 0 || len(n)%2 != 0 {
					t.Fatalf("%q in %q", part, path)
				}
				for i := 0; i < len(n); i += 2 {
					x, y = x+n[i], y+n[i+1]
					got = append(got, [2]int64{x, y})
				}
			}
		}
		var want [][2]int64
		for _, r := range thin(packed(points), 0, at, fine).runs {
			var before [2]int64
			for i, p := range r {
				p := [2]int64{int64(math.Round(frame * p.T / at)), int64(math.Round(1000 * (1 - p.V)))}
				if i == 0 || p != before {
					want = append(want, p)
				}
				before = p
			}
		}
		for i := range want {
			// The last digit may be rounded otherwise.
			if len(got) != len(want) || max(got[i][0]-want[i][0], want[i][0]-got[i][0], got[i][1]-want[i][1], want[i][1]-got[i][1]) > 1 {
				t.Fatalf("%v, want %v in %q", got, want, path)
			}
		}
	})
}

// What was weighed is told force by force, for so many of them, with what was said and not
// seen, and without how the conclusion follows.
func TestWeighed(t *testing.T) {
	for _, c := range []struct{ forces, told, left int }{{0, 0, 0}, {1, 1, 0}, {shownForces, shownForces, 0}, {shownForces + 2, shownForces, 2}} {
		var s Subject
		for n := range c.forces {
			s.Reasons = append(s.Reasons, reason.Force.Of(n+1, analysis.Lean, 1.0, 1.0, 1.0, 2.0).And(reason.AsSaid), reason.NoTrimRead.Of(), reason.NoFit.Of())
		}
		s.Reasons = append(s.Reasons, reason.SaidForced.Of(analysis.Rich, 9.0).And(reason.Blank).And(reason.WentOn), reason.Concluded.Of(analysis.ConclusionUnclear))
		got := s.Weighed()
		if len(got) != c.told+1 || s.Unweighed() != c.left {
			t.Fatalf("%d forces: %d told, %d left", c.forces, len(got)-1, s.Unweighed())
		}
		for i, w := range got[:c.told] {
			if w.Head != why.Text(s.Reasons[3*i]) || !slices.Equal(w.Lines, []string{"Trim: not read.", "The model was not fitted: too little was read."}) {
				t.Errorf("force %d: %+v", i+1, w)
			}
		}
		if last := got[c.told]; last.Head != "Said to be forced rich, for 9 s: it went on as before" || last.Lines != nil {
			t.Errorf("%d forces, at the end: %+v", c.forces, last)
		}
	}
}
