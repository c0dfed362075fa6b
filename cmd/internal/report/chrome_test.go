package report

import (
	"bytes"
	"errors"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"pushback/cmd/internal/chrometest"
)

// In a browser the report shows itself without a complaint of its policy, fetches nothing
// but itself, fits a phone, zooms along time only, and its first page fits one sheet.
func TestInBrowser(t *testing.T) {
	ctx := chrometest.Start(t)
	var mu sync.Mutex
	var said, fetched []string
	if err := chromedp.Listen(ctx, func(ev any) {
		mu.Lock()
		defer mu.Unlock()
		switch e := ev.(type) {
		case *cdplog.EventEntryAdded:
			said = append(said, e.Entry.Text)
		case *network.EventRequestWillBeSent:
			if !strings.HasPrefix(e.Request.URL, "data:") {
				fetched = append(fetched, e.Request.URL)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	for _, sides := range []int{1, 2} {
		file := filepath.Join(t.TempDir(), "report.html")
		if err := os.WriteFile(file, pageOf(t, sample("Some words, as long as a person writes them.", sides)), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(390, 800), chromedp.Navigate("file://"+file)); err != nil {
			t.Fatal(err)
		}
		if n := chrometest.Eval[float64](t, ctx, `document.documentElement.scrollWidth`); n > 391 {
			t.Errorf("%d sides: %g px wide on a phone of 390", sides, n)
		}
		if c := chrometest.Eval[string](t, ctx, `getComputedStyle(document.querySelector(".line.volts")).stroke`); c != "rgb(17, 17, 17)" {
			t.Errorf("the curve is %s: the style sheet is not applied", c)
		}
		before := chrometest.Eval[[]float64](t, ctx, `(()=>{const r=document.querySelector(".scroll .plot").getBoundingClientRect();return [r.width,r.height]})()`)
		after := chrometest.Eval[[]float64](t, ctx, `(()=>{document.querySelector(".z4").click();const r=document.querySelector(".scroll .plot").getBoundingClientRect();return [r.width,r.height]})()`)
		if r := after[0] / before[0]; r < 3.99 || r > 4.01 || after[1] != before[1] {
			t.Errorf("zoom 4: from %v to %v", before, after)
		}
		// Paper less its margins, at 96 px an inch: A4 210 × 297 mm, Letter 216 × 279 mm.
		for name, mm := range map[string][2]float64{"A4": {210, 297}, "Letter": {216, 279}} {
			w, h := (mm[0]-26)*96/25.4, (mm[1]-28)*96/25.4
			chrometest.Emulate(t, ctx, "print")
			if err := chromedp.Do(ctx, chromedp.EmulateViewport(int64(w), 1000)); err != nil {
				t.Fatal(err)
			}
			if got := chrometest.Eval[float64](t, ctx, `document.querySelector(".first").getBoundingClientRect().height`); got > h {
				t.Errorf("%d sides: the first page is %.0f px high, %s has %.0f", sides, got, name, h)
			}
			if n := chrometest.Eval[float64](t, ctx, `document.documentElement.scrollWidth`); n > w+1 {
				t.Errorf("%d sides: %g px wide on %s of %.0f", sides, n, name, w)
			}
		}
		chrometest.Emulate(t, ctx, "")
	}
	mu.Lock()
	defer mu.Unlock()
	if len(said) > 0 {
		t.Errorf("the browser says: %q", said)
	}
	if len(fetched) != 2 {
		t.Errorf("fetched: %q", fetched)
	}
}

// measureContrast returns the texts of the page whose colour, as the browser computes it,
// stands out too little from what it lies on (WCAG 2.2, 1.4.3: 4.5, large letters 3), and
// how many were measured. Behind text in a drawing lie the shades that are drawn over the
// place, and the halo that it may have does not count.
const measureContrast = `(() => {
	const rgb = s => (s.match(/[0-9.]+/g) || [0,0,0,0]).map(Number);
	const lum = c => c.slice(0,3).map(v => (v/=255) <= 0.04045 ? v/12.92 : ((v+0.055)/1.055)**2.4).reduce((s,v,i) => s+v*[0.2126,0.7152,0.0722][i], 0);
	const ratio = (a,b) => { const [x,y] = [lum(a),lum(b)]; return (Math.max(x,y)+0.05)/(Math.min(x,y)+0.05); };
	const over = (c,a,on) => on.map((v,i) => a*c[i]+(1-a)*v);
	const behind = e => {
		let stack = [];
		for (let n = e; n instanceof Element; n = n.parentElement) stack.unshift(n);
		let on = [255,255,255];
		for (const n of stack) { const b = rgb(getComputedStyle(n).backgroundColor); on = over(b, b.length > 3 ? b[3] : 1, on); }
		const svg = e.closest("svg"), r = e.getBoundingClientRect();
		if (svg) for (const s of svg.querySelectorAll("rect")) {
			const q = s.getBoundingClientRect();
			if (s.compareDocumentPosition(e) & 4 && q.left < r.right && q.right > r.left && q.top < r.bottom && q.bottom > r.top) {
				const c = getComputedStyle(s); on = over(rgb(c.fill), Number(c.opacity), on);
			}
		}
		return on;
	};
	const poor = []; let n = 0;
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const e = walk.currentNode.parentElement;
		if (!walk.currentNode.data.trim() || ["TITLE","STYLE","title"].includes(e.tagName) || !e.getClientRects().length) continue;
		const c = getComputedStyle(e), size = parseFloat(c.fontSize), large = size >= 24 || size >= 18.66 && c.fontWeight >= 700;
		const r = ratio(rgb(e.closest("svg") ? c.fill : c.color), behind(e));
		n++;
		if (r < (large ? 3 : 4.5)) poor.push(walk.currentNode.data.trim().slice(0,40)+" ("+e.tagName+"."+(e.getAttribute("class")||"")+"): "+r.toFixed(2));
	}
	return [String(n), ...poor];
})()`

// Every text of the page can be read, as the browser shows it on the screen and on paper.
func TestContrastInBrowser(t *testing.T) {
	ctx := chrometest.Start(t)
	for _, sides := range []int{1, 2} {
		file := filepath.Join(t.TempDir(), "report.html")
		if err := os.WriteFile(file, pageOf(t, sample("words", sides)), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(1000, 900), chromedp.Navigate("file://"+file)); err != nil {
			t.Fatal(err)
		}
		for _, on := range []string{"screen", "print"} {
			chrometest.Emulate(t, ctx, on)
			got := chrometest.Eval[[]string](t, ctx, measureContrast)
			if n, err := strconv.Atoi(got[0]); err != nil || n < 150 {
				t.Errorf("%s: only %s texts were measured", on, got[0])
			}
			if len(got) > 1 {
				t.Errorf("%s: %q", on, got[1:])
			}
		}
		chrometest.Emulate(t, ctx, "")
		// The measure sees what is poor.
		if got := chrometest.Eval[[]string](t, ctx, `document.querySelector("h1").style.color = "#ccc", `+measureContrast); len(got) < 2 {
			t.Error("grey on white passes")
		}
	}
}

// The PDF has the paper that was asked for, and its words can be found.
func TestPDF(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	chrometest.Start(t)
	for paper, box := range map[string]string{"a4": `594\.9\d* 841\.\d+|595\S* 842\S*|594\.\d+ 841\.\d+`, "letter": `612 792`} {
		r := sample("findable", 1)
		r.Paper = paper
		var b bytes.Buffer
		if err := r.WritePDF(t.Context(), &b); err != nil {
			t.Fatal(err)
		}
		if !regexp.MustCompile(`/MediaBox \[0 0 (` + box + `)\]`).Match(b.Bytes()) {
			t.Errorf("%s: %s", paper, regexp.MustCompile(`/MediaBox[^\]]*`).Find(b.Bytes()))
		}
		tool, err := exec.LookPath("pdftotext")
		if err != nil {
			t.Log("no pdftotext here: the PDF's words are not looked at")
			continue
		}
		cmd := exec.Command(tool, "-f", "1", "-l", "1", "-", "-")
		cmd.Stdin = &b
		text, err := cmd.Output()
		if err != nil || !bytes.Contains(text, []byte("findable")) || !bytes.Contains(text, []byte("doesn't see it")) {
			t.Errorf("%s: %v: %s", paper, err, text)
		}
	}
}

// Words from outside become words in a PDF: it has no script, no action, no link and no
// file in it, and all the words are shown.
func TestHostilePDF(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	chrometest.Start(t)
	var b bytes.Buffer
	all := strings.ReplaceAll(strings.Join(hostile, " "), "\u202e", "") + ` (x) Tj ET /JavaScript (app.alert(1)) \\051 >> endobj http://nowhere.invalid/`
	if err := sample(all, 1).WritePDF(t.Context(), &b); err != nil {
		t.Fatal(err)
	}
	if m := regexp.MustCompile(`/(JavaScript|JS|OpenAction|AA|Launch|URI|EmbeddedFile|RichMedia|SubmitForm)\b`).Find(b.Bytes()); m != nil {
		t.Errorf("the PDF has a %s", m)
	}
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("no pdftotext here: the PDF's words are not looked at")
	}
	cmd := exec.Command(tool, "-f", "1", "-l", "1", "-raw", "-", "-")
	cmd.Stdin = &b
	text, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	plain := strings.Join(strings.Fields(string(text)), "")
	for _, want := range []string{"<script>alert(1)</script>", "/JavaScript(app.alert(1))", "<iframesrcdoc="} {
		if !strings.Contains(plain, want) {
			t.Errorf("no %q in %s", want, plain)
		}
	}
}

func TestPNG(t *testing.T) {
	if testing.Short() {
		t.Skip("starts a browser")
	}
	chrometest.Start(t)
	for figure, want := range map[string][2]int{"ring": {1760, 960}, "traces": {2000, 2 * int(plotHeight)}} {
		var b bytes.Buffer
		if err := sample("words", 1).WritePNG(t.Context(), &b, figure); err != nil {
			t.Fatal(err)
		}
		c, err := png.DecodeConfig(&b)
		if err != nil || c.Width != want[0] || c.Height != want[1] {
			t.Errorf("%s: %d × %d, %v", figure, c.Width, c.Height, err)
		}
	}
}

// Without a browser it says so.
func TestNoBrowser(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	if err := sample("words", 1).WritePDF(t.Context(), &bytes.Buffer{}); !errors.Is(err, ErrNoBrowser) {
		t.Errorf("%v", err)
	}
}
