package page

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sessiontest"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func serve(t testing.TB, cfg Config) *Page {
	t.Helper()
	p, err := Serve("local", cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p
}

// diary is controls that write down what they are asked for.
type diary struct {
	mu  sync.Mutex
	did []string
}

func (d *diary) note(what string) { d.mu.Lock(); d.did = append(d.did, what); d.mu.Unlock() }

func (d *diary) all() string { d.mu.Lock(); defer d.mu.Unlock(); return strings.Join(d.did, ", ") }

func (d *diary) controls() live.Controls {
	return live.Controls{
		Mark:  func(m obd.Mark) { d.note(strings.TrimSpace(string(m.Kind) + " " + m.Text)) },
		Enter: func() { d.note("enter") }, Skip: func() { d.note("skip") }, Again: func() { d.note("again") },
	}
}

func (d *diary) play(end time.Duration) *live.Playback {
	did := func(what string) func() { return func() { d.note(what) } }
	return &live.Playback{Pause: did("pause"), Step: did("step"), Slow: did("slower"), Faster: did("faster"), End: end,
		Seek: func(to time.Duration) { d.note(fmt.Sprintf("seek %.0f", to.Truncate(time.Second).Seconds())) }}
}

func noVerdict() analysis.Verdict { return analysis.Verdict{} }

func volts(at time.Duration, v float64) session.Frame {
	return session.Frame{Record: obd.Record{At: at}, Samples: []decode.Sample{{Signal: decode.ByName("O2S11"), Sent: at, Received: at, Value: v}}}
}

func event(at time.Duration, e analysis.Event) session.Frame {
	e.T = at.Seconds()
	return session.Frame{Record: obd.Record{At: at}, Events: []analysis.Event{e}}
}

// request sends what a program that is no browser can send: any header at all.
func request(t *testing.T, p *Page, method, path, body string, header map[string]string) *http.Response {
	t.Helper()
	url := strings.TrimSuffix(p.URL(), p.prefix) + path
	r, err := http.NewRequest(method, url, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	for k, v := range header {
		if k == "Host" {
			r.Host = v
			continue
		}
		r.Header.Set(k, v)
	}
	tr := &http.Transport{DisableKeepAlives: true}
	defer tr.CloseIdleConnections()
	resp, err := tr.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { resp.Body.Close() })
	return resp
}

// Each way in that is not the page's own is shut, and nothing is done by it.
func TestAttacks(t *testing.T) {
	d := &diary{}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: d.controls()})
	self := "http://" + p.hosts[0]
	port := p.hosts[0][strings.LastIndex(p.hosts[0], ":"):]
	good := map[string]string{"Origin": self, "Content-Type": "application/json"}
	with := func(kv ...string) map[string]string {
		h := map[string]string{}
		for k, v := range good {
			h[k] = v
		}
		for i := 0; i < len(kv); i += 2 {
			if h[kv[i]] = kv[i+1]; kv[i+1] == "" {
				delete(h, kv[i])
			}
		}
		return h
	}
	lean := `{"do":"lean"}`
	for _, tt := range []struct {
		name, method, path, body string
		header                   map[string]string
		want                     int
	}{
		{"no token", "GET", "/", "", nil, 404},
		{"no token, events", "GET", "/events", "", nil, 404},
		{"another token", "GET", "/ABCDEFGHIJKLMNOPQRSTUVWXYZ/", "", nil, 404},
		{"half a token", "GET", p.prefix[:14] + "/", "", nil, 404},
		{"token, then up", "GET", p.prefix + "../etc/passwd", "", nil, 404},
		{"token, then up, hidden", "GET", p.prefix + "..%2f..%2fgo.mod", "", nil, 404},
		{"what is embedded but not for the page", "GET", p.prefix + "index.html", "", nil, 404},
		{"a mark without the token", "POST", "/do", lean, good, 404},
		{"a name that points here (DNS rebinding)", "GET", p.prefix, "", with("Host", "rebound.example"+port), 421},
		{"the same, a mark", "POST", p.prefix + "do", lean, with("Host", "rebound.example"+port, "Origin", "http://rebound.example"+port), 421},
		{"the right name, another port", "GET", p.prefix, "", with("Host", "127.0.0.1:1"), 421},
		{"no name", "GET", p.prefix, "", with("Host", "localhost.rebound.example"), 421},
		{"a mark from another site", "POST", p.prefix + "do", lean, with("Origin", "http://other.example"), 403},
		{"a mark from a file or a sandbox", "POST", p.prefix + "do", lean, with("Origin", "null"), 403},
		{"a mark from another port of this machine", "POST", p.prefix + "do", lean, with("Origin", "http://127.0.0.1:1"), 403},
		{"a mark over https of ours", "POST", p.prefix + "do", lean, with("Origin", "https://"+p.hosts[0]), 403},
		{"a mark without an origin", "POST", p.prefix + "do", lean, with("Origin", ""), 403},
		{"a mark that the browser calls cross-site", "POST", p.prefix + "do", lean, with("Sec-Fetch-Site", "cross-site"), 403},
		{"a mark that the browser calls same-site", "POST", p.prefix + "do", lean, with("Sec-Fetch-Site", "same-site"), 403},
		{"the stream in another site's page", "GET", p.prefix + "events", "", with("Origin", "http://other.example"), 403},
		{"a script in another site's page", "GET", p.prefix + "app.js", "", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		{"a form", "POST", p.prefix + "do", "do=lean", with("Content-Type", "application/x-www-form-urlencoded"), 415},
		{"text, which needs no preflight", "POST", p.prefix + "do", lean, with("Content-Type", "text/plain"), 415},
		{"a mark by address alone", "GET", p.prefix + "do", "", nil, 405},
		{"too much", "POST", p.prefix + "do", `{"do":"note","text":"` + strings.Repeat("x", 2000) + `"}`, good, 400},
		{"no JSON", "POST", p.prefix + "do", "lean", good, 400},
		{"more than is asked", "POST", p.prefix + "do", `{"do":"lean","sensor":"B2S1"}`, good, 400},
		{"an unknown deed", "POST", p.prefix + "do", `{"do":"stop"}`, good, 400},
		{"a replay's pace where there is no replay", "POST", p.prefix + "do", `{"do":"pause"}`, good, 400},
		{"an empty note", "POST", p.prefix + "do", `{"do":"note","text":"\u0007 \n"}`, good, 400},
	} {
		t.Run(tt.name, func(t *testing.T) {
			resp := request(t, p, tt.method, tt.path, tt.body, tt.header)
			if resp.StatusCode != tt.want {
				t.Errorf("status %d, want %d", resp.StatusCode, tt.want)
			}
			body, _ := io.ReadAll(resp.Body)
			if bytes.Contains(body, []byte(strings.Trim(p.prefix, "/"))) || len(bytes.TrimSpace(body)) > 40 {
				t.Errorf("it says too much: %s", body)
			}
		})
	}
	if d.all() != "" {
		t.Errorf("was done all the same: %s", d.all())
	}
}

// What the page itself asks for is done.
func TestActs(t *testing.T) {
	d := &diary{}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: d.controls()})
	header := map[string]string{"Origin": "http://" + p.hosts[0], "Content-Type": "application/json", "Sec-Fetch-Site": "same-origin"}
	for _, body := range []string{`{"do":"lean"}`, `{"do":"rich"}`, `{"do":"release"}`, `{"do":"enter"}`, `{"do":"skip"}`, `{"do":"repeat"}`,
		`{"do":"note","text":" hose off,\u001b[2J 2 cm "}`} {
		if resp := request(t, p, "POST", p.prefix+"do", body, header); resp.StatusCode != http.StatusNoContent {
			t.Errorf("%s: status %d", body, resp.StatusCode)
		}
	}
	if got, want := d.all(), "lean, rich, release, enter, skip, again, note hose off, [2J 2 cm"; got != want {
		t.Errorf("did %s\nwant %s", got, want)
	}
	// A hand that trembles, or a program that floods: ten at once and no more.
	refused := 0
	for range 20 {
		if resp := request(t, p, "POST", p.prefix+"do", `{"do":"lean"}`, header); resp.StatusCode == http.StatusTooManyRequests {
			refused++
		}
	}
	if refused < 10 {
		t.Errorf("only %d of 20 marks at once were refused", refused)
	}
	watching := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	header["Origin"] = "http://" + watching.hosts[0]
	if resp := request(t, watching, "POST", watching.prefix+"do", `{"do":"lean"}`, header); resp.StatusCode != http.StatusBadRequest {
		t.Errorf("a mark where none can be made: status %d", resp.StatusCode)
	}
}

func TestHeaders(t *testing.T) {
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	for _, path := range []string{p.prefix, p.prefix + "app.js", "/", p.prefix + "nothing"} {
		h := request(t, p, "GET", path, "", nil).Header
		csp := h.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: policy %q lacks %s", path, csp, want)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") || strings.Contains(csp, "http") {
			t.Errorf("%s: policy %q is loose", path, csp)
		}
		for k, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store",
			"Cross-Origin-Resource-Policy": "same-origin", "Set-Cookie": "", "Access-Control-Allow-Origin": "", "Server": ""} {
			if got := h.Get(k); got != want {
				t.Errorf("%s: %s is %q, want %q", path, k, got, want)
			}
		}
	}
}

// The page uses nothing from outside: it has to work where there is no internet.
func TestNothingFromOutside(t *testing.T) {
	files, err := assets.ReadDir("assets")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		b, err := assets.ReadFile("assets/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(b), "http://www.w3.org/2000/svg", "")
		text = strings.ReplaceAll(text, "/*! https://github.com/leeoniya/uPlot (v1.6.32) */", "") // where the library is from
		for _, bad := range []string{"http://", "https://", "//cdn", "@import"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s names %s", f.Name(), bad)
			}
		}
	}
}

func TestWhere(t *testing.T) {
	if _, err := Serve("nonsense", Config{Setup: sessiontest.B1S1, Verdict: noVerdict}); err == nil {
		t.Error("an address without a port was taken")
	}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	q := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	if !strings.HasPrefix(p.URL(), "http://127.0.0.1:") || !p.Local() {
		t.Errorf("not loopback by default: %s", p.URL())
	}
	if len(strings.Trim(p.prefix, "/")) < 26 || p.prefix == q.prefix { // 26 letters of 32: 130 bits
		t.Errorf("tokens %s and %s", p.prefix, q.prefix)
	}
	lan, err := Serve("lan", Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	if err != nil {
		t.Skipf("no network here to serve: %v", err)
	}
	defer lan.Close()
	if lan.Local() || strings.Contains(lan.URL(), "127.") {
		t.Errorf("lan is loopback: %s", lan.URL())
	}
	if resp := request(t, lan, "GET", lan.prefix, "", nil); resp.StatusCode != 200 {
		t.Errorf("lan page: status %d", resp.StatusCode)
	}
	if resp := request(t, lan, "GET", "/", "", nil); resp.StatusCode != 404 {
		t.Errorf("lan page without token: status %d", resp.StatusCode)
	}
}

// One address cannot take all connections, nor all streams.
func TestConnectionsAreBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("waits in real time")
	}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	for range maxFrom {
		s := open(t, p)
		s.next(t)
	}
	if resp := request(t, p, "GET", p.prefix+"events", "", nil); resp.StatusCode != http.StatusServiceUnavailable || resp.Header.Get("Retry-After") == "" {
		t.Errorf("stream %d from one address: status %d", maxFrom+1, resp.StatusCode)
	}
	var conns []net.Conn
	for range maxConnsFrom {
		c, err := net.Dial("tcp", p.hosts[0])
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		conns = append(conns, c)
	}
	last := conns[len(conns)-1] // more were there when it came
	_ = last.SetReadDeadline(time.Now().Add(30 * time.Second))
	if _, err := last.Read(make([]byte, 1)); err != io.EOF && !strings.Contains(fmt.Sprint(err), "reset") {
		t.Errorf("%d connections from one address were all taken: %v", maxConnsFrom+maxFrom, err)
	}
	for _, c := range conns {
		c.Close()
	}
}

func TestHugeHeader(t *testing.T) {
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	resp := request(t, p, "GET", p.prefix, "", map[string]string{"X-Long": strings.Repeat("x", 64<<10)})
	if resp.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("64 KiB of header: status %d", resp.StatusCode)
	}
}

// stream is a client of the events.
type stream struct {
	resp *http.Response
	sc   *bufio.Scanner
	stop context.CancelFunc
}

func open(t *testing.T, p *Page) *stream {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, err := http.NewRequestWithContext(ctx, "GET", p.URL()+"events", nil)
	if err != nil {
		t.Fatal(err)
	}
	tr := &http.Transport{}
	resp, err := tr.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	s := &stream{resp: resp, sc: bufio.NewScanner(resp.Body), stop: func() { cancel(); resp.Body.Close(); tr.CloseIdleConnections() }}
	s.sc.Buffer(nil, 4<<20)
	t.Cleanup(s.stop)
	return s
}

type told struct {
	Whole bool
	Now   float64
	V, T  [][]*float64
	View  *view
	Axis  *axis
	Tone  string
}

// next is the next message that is no heartbeat.
func (s *stream) next(t *testing.T) told {
	t.Helper()
	for beat := false; s.sc.Scan(); {
		line := s.sc.Text()
		if strings.HasPrefix(line, "event:") {
			beat = true
		}
		if data, ok := strings.CutPrefix(line, "data: "); ok {
			if beat {
				beat = false
				continue
			}
			var m told
			if err := json.Unmarshal([]byte(data), &m); err != nil {
				t.Fatalf("%s: %v", data, err)
			}
			return m
		}
	}
	t.Fatalf("the stream ended: %v", s.sc.Err())
	return told{}
}

// What a stream tells in pieces comes to what one that starts later is told at once,
// and that to what the session was.
func TestPiecesMakeTheWhole(t *testing.T) {
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict})
	p.gather = 0
	s := open(t, p)
	got := s.next(t)
	var tones []string
	step := 0
	for more := true; more; step++ {
		n := 0
		more = play.Until(p, func(sessiontest.Moment) bool { n++; return n == 40 })
		for got.Now < p.state.Now.Seconds() || got.View == nil || (!more && !got.View.Over) {
			m := s.next(t)
			got.Now, got.V, got.T = m.Now, append(got.V, m.V...), append(got.T, m.T...)
			if m.View != nil {
				got.View = m.View
			}
			if m.Axis != nil {
				got.Axis = m.Axis
			}
			if m.Tone != "" {
				tones = append(tones, m.Tone)
			}
		}
	}
	whole := open(t, p).next(t)
	a, _ := json.Marshal([]any{got.Now, got.V, got.T, got.View, got.Axis})
	b, _ := json.Marshal([]any{whole.Now, whole.V, whole.T, whole.View, whole.Axis})
	if !bytes.Equal(a, b) {
		t.Errorf("pieces make\n%.600s\nthe whole is\n%.600s", a, b)
	}
	if len(got.V) < 1000 || len(got.Axis.Bands) != 2 || got.View.Big != "LOOP PROVEN" || len(got.View.Proofs) != len(analysis.ProofOrder) {
		t.Errorf("%d readings, %d bands, %q, %d proofs", len(got.V), len(got.Axis.Bands), got.View.Big, len(got.View.Proofs))
	}
	// The rich step is seen in the moment in which the loop has answered it: one tone.
	if want := "seen adds seen cuts seen verdict"; strings.Join(tones, " ") != want {
		t.Errorf("tones %v, want %s", tones, want)
	}
}

// A replay that hurries to another place drops no page and rings no tone on the way,
// and what comes in one moment goes in one message.
func TestHurry(t *testing.T) {
	play := sessiontest.Guided(t, "healthy", 3*time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict, Controls: live.Controls{Play: (&diary{}).play(time.Minute)}})
	s := open(t, p)
	s.next(t)
	p.Replays(Status{Speed: "1×", Quiet: true})
	play.Until(p, sessiontest.Stage(session.StageRelease, analysis.Rich, 2*time.Second))
	p.Replays(Status{Speed: "1×"})
	messages, readings := 0, 0
	for done := false; !done; messages++ {
		m := s.next(t)
		readings += len(m.V)
		if m.Tone != "" {
			t.Errorf("tone %s on the way", m.Tone)
		}
		if m.View != nil && m.View.Alarm {
			t.Error("a replay gives an order")
		}
		done = m.View != nil && (m.View.Big == "RELEASE NOW" || m.View.Over)
	}
	if p.Guests() != 1 || readings < 1000 || messages > readings/10 {
		t.Errorf("%d guests, %d readings in %d messages", p.Guests(), readings, messages)
	}
}

// Only the page of a replay paces it, and only from itself.
func TestReplayActs(t *testing.T) {
	d := &diary{}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: live.Controls{Play: d.play(time.Minute)}})
	header := map[string]string{"Origin": "http://" + p.hosts[0], "Content-Type": "application/json"}
	for body, want := range map[string]int{`{"do":"seek","to":-1}`: 400, `{"do":"seek","to":1e300}`: 400, `{"do":"seek","to":"x"}`: 400, `{"do":"lean"}`: 400, `{"do":"seek","to":12.5}`: 204} {
		if resp := request(t, p, "POST", p.prefix+"do", body, header); resp.StatusCode != want {
			t.Errorf("%s: status %d, want %d", body, resp.StatusCode, want)
		}
	}
	header["Origin"] = "http://other.example"
	if resp := request(t, p, "POST", p.prefix+"do", `{"do":"pause"}`, header); resp.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: status %d", resp.StatusCode)
	}
	if d.all() != "seek 12" {
		t.Errorf("did %s", d.all())
	}
}

// The film comes in parts too: some browsers ask for nothing else.
func TestFilmInParts(t *testing.T) {
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	resp := request(t, p, "GET", p.prefix+"film.mp4", "", map[string]string{"Range": "bytes=4-7"})
	b, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusPartialContent || string(b) != "ftyp" || resp.Header.Get("Content-Type") != "video/mp4" { // ISO/IEC 14496-12, 4.3
		t.Errorf("status %d, %q, %v", resp.StatusCode, b, err)
	}
}

// A replay that goes back begins anew on every page that watches.
func TestRestart(t *testing.T) {
	play := sessiontest.Guided(t, "healthy", time.Second)
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict})
	play.Until(p, nil)
	s := open(t, p)
	if m := s.next(t); !m.View.Over || len(m.V) == 0 {
		t.Fatalf("at the end: over %v, %d readings", m.View.Over, len(m.V))
	}
	p.Restart(play.Verdict)
	if m := s.next(t); !m.Whole || m.View.Over || len(m.V) != 0 || len(m.Axis.Bands) != 0 {
		t.Errorf("begun anew: whole %v, over %v, %d readings", m.Whole, m.View.Over, len(m.V))
	}
	_ = p.Write(volts(time.Second, 0.3))
	if m := s.next(t); len(m.V) != 1 {
		t.Errorf("then: %d readings", len(m.V))
	}
}

// Who sends half a request, or half of what was announced, is not waited for.
func TestHalfARequest(t *testing.T) {
	if testing.Short() {
		t.Skip("takes ten seconds")
	}
	t.Parallel()
	d := &diary{}
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict, Controls: d.controls()})
	for name, half := range map[string]string{
		"head": fmt.Sprintf("GET %s HTTP/1.1\r\nHost:", p.prefix),
		"body": fmt.Sprintf("POST %sdo HTTP/1.1\r\nHost: %s\r\nOrigin: http://%[2]s\r\nContent-Type: application/json\r\nContent-Length: 13\r\n\r\n{\"do\":", p.prefix, p.hosts[0]),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c, err := net.Dial("tcp", p.hosts[0])
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			fmt.Fprint(c, half)
			_ = c.SetReadDeadline(time.Now().Add(30 * time.Second))
			if _, err := io.ReadAll(c); err != nil {
				t.Errorf("never hung up: %v", err)
			}
			if d.all() != "" {
				t.Errorf("did %s", d.all())
			}
		})
	}
}

// A client that takes nothing is dropped; the session never waits for it, and the
// others are told everything.
func TestStalledClient(t *testing.T) {
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	p.gather = 0
	stalled, err := net.Dial("tcp", p.hosts[0])
	if err != nil {
		t.Fatal(err)
	}
	defer stalled.Close()
	_ = stalled.(*net.TCPConn).SetReadBuffer(4 << 10)
	fmt.Fprintf(stalled, "GET %sevents HTTP/1.1\r\nHost: %s\r\n\r\n", p.prefix, p.hosts[0])
	well := open(t, p)
	well.next(t)
	for p.Guests() < 2 {
		time.Sleep(time.Millisecond)
	}
	// Much more than all buffers between the two hold; the other client keeps up.
	text := strings.Repeat("a note that fills the line ", 100)
	for i := 1; p.Guests() == 2; i++ {
		f := session.Frame{Record: obd.Record{At: time.Duration(i) * time.Millisecond, Mark: &obd.Mark{Kind: obd.MarkNote, Text: fmt.Sprint(i, text)}}}
		if err := p.Write(f); err != nil {
			t.Fatal(err)
		}
		if m := well.next(t); m.View == nil || !strings.Contains(m.View.Last, fmt.Sprint(i)) {
			t.Fatalf("the other client missed %d", i)
		}
		if i > 20000 {
			t.Fatal("the stalled client is never dropped")
		}
	}
	_ = p.Write(volts(time.Hour, 0.7))
	if m := well.next(t); len(m.V) != 1 {
		t.Errorf("after the drop: %d readings", len(m.V))
	}
}

func TestQR(t *testing.T) {
	url := "http://192.168.1.20:40123/ABCDEFGHIJKLMNOPQRSTUVWXYZ/"
	dark, err := QR(url, false)
	if err != nil {
		t.Fatal(err)
	}
	light, err := QR(url, true)
	if err != nil {
		t.Fatal(err)
	}
	if w := len([]rune(dark[0])); w > 45 || len(dark) > 23 {
		t.Errorf("%d by %d: must fit a terminal of 80 by 24", w, len(dark))
	}
	flip := map[rune]rune{'█': ' ', ' ': '█', '▀': '▄', '▄': '▀'}
	for y := range dark[:len(dark)-1] { // the last row is half a row
		for x, r := range []rune(dark[y]) {
			if []rune(light[y])[x] != flip[r] {
				t.Fatalf("row %d, column %d: %c and %c", y, x, r, []rune(light[y])[x])
			}
		}
	}
}

// What a frame costs the session: the page at the end of a long test, one guest.
func BenchmarkWrite(b *testing.B) {
	play := sessiontest.Guided(b, "healthy", time.Second)
	p := serve(b, Config{Setup: sessiontest.B1S1, Verdict: play.Verdict})
	play.Until(p, sessiontest.Stage(session.StageAnswer, analysis.Rich, 5*time.Second))
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", p.URL()+"events", nil)
	if err != nil {
		b.Fatal(err)
	}
	tr := &http.Transport{}
	defer tr.CloseIdleConnections()
	resp, err := tr.RoundTrip(r)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	go func() { _, _ = io.Copy(io.Discard, resp.Body) }()
	at := p.state.Now
	for b.Loop() {
		at += 20 * time.Millisecond
		_ = p.Write(volts(at, 0.3))
	}
}

// The page shows the step's caution, of a verdict's first step too, and each that comes after with its own.
func TestCautionsAreOnThePage(t *testing.T) {
	s := live.NewState(sessiontest.B1S1, nil)
	s.Prompt = &session.Prompt{Stage: session.StageForce, Side: analysis.Rich}
	if v := viewOf(s, live.Controls{}, Status{}); v.Caution == "" || v.Caution != words.Caution(s) {
		t.Errorf("the step's caution is %q", v.Caution)
	}
	s.Verdict = &analysis.Verdict{Conclusion: analysis.SensorDead, Next: []reason.Reason{reason.Told.Of("enrich").With(hazard.Propane), reason.Told.Of("pull a hose").With(hazard.Hose)}}
	if v := viewOf(s, live.Controls{}, Status{}); v.Step != "Enrich." || v.Caution != hazard.Propane.Caution() || len(v.Next) != 1 || v.Next[0] != hazard.Step("pull a hose", hazard.Hose) {
		t.Errorf("step %q, caution %q, next %q", v.Step, v.Caution, v.Next)
	}
}

// Connections that say nothing, however many and from wherever, keep nobody out.
func TestSilentConnections(t *testing.T) {
	p := serve(t, Config{Setup: sessiontest.B1S1, Verdict: noVerdict})
	for i := range 2 * maxConns {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(1+i%8))}}
		c, err := d.Dial("tcp", p.hosts[0])
		if err != nil {
			t.Skip("this system has one address only: ", err)
		}
		defer c.Close()
	}
	s := open(t, p)
	s.next(t)
	if resp := request(t, p, "GET", p.prefix, "", nil); resp.StatusCode != http.StatusOK {
		t.Errorf("status %d", resp.StatusCode)
	}
}
