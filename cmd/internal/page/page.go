// Package page serves one page that shows a session on a phone or tablet as it
// runs: traces, ring, the step in giant words, tones. It is for people beside the
// car: loopback only unless asked, nothing without the token of its link, and
// nothing can be done from it but marks, or the pace of a replay. Frames go to it
// like to any other sink, and no client, however slow, holds the session up.
package page

import (
	"bytes"
	"context"
	"crypto/rand"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/cmd/internal/words"
)

// ErrNoNetwork says that this machine has no network to be reached by.
var ErrNoNetwork = errors.New("no network address")

//go:embed assets
var assets embed.FS

var index = template.Must(template.ParseFS(assets, "assets/index.html"))

// Config is what a Page needs beside the session.
type Config struct {
	Title    string // what is being done
	Name     string // of the session
	Setup    session.Setup
	Verdict  func() analysis.Verdict // the judge's
	Controls live.Controls           // a field that is nil is a button that is not there
}

// A Page is a session.Sink with an address.
type Page struct {
	cfg     Config
	url     string
	hosts   []string // that a request may name
	prefix  string   // of every path: "/" token "/"
	server  *http.Server
	stop    context.CancelFunc
	stopped chan struct{}
	acts    bucket

	gather time.Duration // messages are at least so far apart

	mu     sync.Mutex
	state  *live.State
	wrote  time.Time
	out    outbox
	status Status
	guests map[*guest]struct{}
}

// outbox is what the guests have and what they are to get.
type outbox struct {
	at      time.Time     // of the last message
	pending *time.Timer   // what is new is sent then; nil: at once
	tone    string        // to be sent with it
	volts   time.Duration // the traces are sent up to here
	trim    time.Duration
	command time.Duration
	view    []byte // as last sent
	axis    []byte
}

// Status is how a replay goes.
type Status struct {
	Speed string // in words; "": no replay
	Still bool   // it stands still: nothing is expected to come
	Quiet bool   // it hurries to another place: no tones on the way
}

// frame is how often a screen shows something new, about: more messages would be
// drawn by nobody.
const frame = 15 * time.Millisecond

// Serve opens the page at an address: "local" (this machine only), "lan" (the
// network that this machine's way out goes through), or HOST:PORT.
func Serve(where string, cfg Config) (*Page, error) {
	address, err := resolve(where)
	if err != nil {
		return nil, fmt.Errorf("serve page: %w", err)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("serve page: %w", err)
	}
	return serveOn(l, cfg), nil
}

func serveOn(l net.Listener, cfg Config) *Page {
	ctx, cancel := context.WithCancel(context.Background())
	p := &Page{cfg: cfg, gather: frame, prefix: "/" + rand.Text() + "/", stop: cancel, stopped: make(chan struct{}),
		state: live.NewState(cfg.Setup, cfg.Verdict), wrote: time.Now(), guests: map[*guest]struct{}{}}
	p.state.Replay = cfg.Controls.Play != nil
	p.hosts = hostsOf(l.Addr())
	p.url = "http://" + p.hosts[0] + p.prefix
	p.server = &http.Server{
		Handler:           p.guard(p.routes()),
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ConnContext:       func(ctx context.Context, c net.Conn) context.Context { return context.WithValue(ctx, connection{}, c) },
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		IdleTimeout:       30 * time.Second,
		WriteTimeout:      20 * time.Second, // of everything but the stream, which sets its own
		MaxHeaderBytes:    8 << 10,
		ErrorLog:          nolog,
	}
	go func() {
		defer close(p.stopped)
		_ = p.server.Serve(newLimit(l))
	}()
	return p
}

// URL is the link that opens the page, with its token.
func (p *Page) URL() string { return p.url }

// Local reports whether only this machine can open the page.
func (p *Page) Local() bool {
	at, err := netip.ParseAddrPort(p.hosts[0])
	return err == nil && at.Addr().IsLoopback()
}

// Guests is how many watch.
func (p *Page) Guests() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.guests)
}

// Write shows a frame.
func (p *Page) Write(f session.Frame) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.wrote = time.Now()
	_ = p.state.Write(f)
	for _, e := range f.Events {
		if t := words.Tone(e); t != "" && !p.status.Quiet {
			p.out.tone = t
		}
	}
	if f.Last {
		p.out.tone = words.ToneVerdict
		p.send() // nothing comes after it
		return nil
	}
	p.news()
	return nil
}

// Prompt shows what the technician is to do.
func (p *Page) Prompt(q session.Prompt) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state.Told(q)
	p.news()
}

// Drive shows what a drive that is led needs now.
func (p *Page) Drive(g trimmap.Guidance) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state.Drive = &g
	p.news()
}

// Restart forgets the session shown so far: a replay begins anew.
func (p *Page) Restart(verdict func() analysis.Verdict) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.state = live.NewState(p.cfg.Setup, verdict)
	p.state.Replay = p.cfg.Controls.Play != nil
	p.out.volts, p.out.trim, p.out.command, p.out.view, p.out.axis, p.out.tone = 0, 0, 0, nil, nil, ""
	p.broadcast(p.whole())
}

// Replays says how a replay goes.
func (p *Page) Replays(s Status) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.status, p.wrote = s, time.Now()
	p.news()
}

// Close ends all connections.
func (p *Page) Close() {
	p.mu.Lock()
	if p.out.pending != nil {
		p.send()
	}
	p.mu.Unlock()
	p.stop()
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	if p.server.Shutdown(ctx) != nil {
		p.server.Close()
	}
	<-p.stopped
}

func (p *Page) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET "+p.prefix+"{$}", p.index)
	mux.HandleFunc("GET "+p.prefix+"events", p.events)
	mux.HandleFunc("POST "+p.prefix+"do", p.do)
	for name, kind := range map[string]string{
		"app.js": "text/javascript; charset=utf-8", "uplot.js": "text/javascript; charset=utf-8", "film.mp4": "video/mp4",
		"app.css": "text/css; charset=utf-8", "uplot.css": "text/css; charset=utf-8", "icon.svg": "image/svg+xml",
	} {
		body, err := assets.ReadFile("assets/" + name)
		if err != nil {
			panic(err) // embedded, so it is there
		}
		if name == "app.css" {
			body = append(body, ring.CSS...)
		}
		mux.HandleFunc("GET "+p.prefix+name, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", kind)
			http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(body)) // some browsers ask for a film in parts only
		})
	}
	return mux
}

func (p *Page) index(w http.ResponseWriter, _ *http.Request) {
	p.mu.Lock()
	r := p.state.Ring
	p.mu.Unlock()
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_ = index.Execute(w, map[string]any{
		"Title": p.cfg.Title, "Name": p.cfg.Name, "W": words.Page,
		"Ring":  template.HTML(r.SVG(words.RingLabels(p.cfg.Setup.Sensor))),
		"Volts": words.VoltageOf(p.cfg.Setup.Sensor.String()), "Trim": words.TrimOf(p.cfg.Setup.Sensor),
	})
}
