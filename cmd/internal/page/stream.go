package page

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"strconv"
	"time"

	"pushback/cmd/internal/live"
)

// A guest is one stream. What does not fit into its queue ends it: it comes back by
// itself and gets the whole picture.
type guest struct {
	from  string // address
	queue chan []byte
	gone  chan struct{} // closed when the queue has overflowed
}

const (
	maxGuests  = 8
	maxFrom    = 4               // of them from one address
	queued     = 128             // messages; four seconds of the fastest bus
	patience   = 3 * time.Second // for one message to be taken
	heartbeats = time.Second
)

// message is what the stream carries.
type message struct {
	Whole bool            `json:"whole,omitempty"` // all that is kept: forget what came before
	Now   float64         `json:"now"`
	V     points          `json:"v,omitempty"` // sensor voltage
	T     points          `json:"t,omitempty"` // trim
	C     points          `json:"c,omitempty"` // the commanded lambda
	View  json.RawMessage `json:"view,omitempty"`
	Axis  json.RawMessage `json:"axis,omitempty"`
	Tone  string          `json:"tone,omitempty"`
}

// points are written as [[t,value],…]; a break in the line is null.
type points []live.Point

func (p points) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for i, q := range p {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '[')
		b = strconv.AppendFloat(b, q.At.Seconds(), 'f', 3, 64)
		b = append(b, ',')
		if math.IsNaN(q.Value) {
			b = append(b, "null"...)
		} else {
			b = strconv.AppendFloat(b, q.Value, 'f', 3, 64)
		}
		b = append(b, ']')
	}
	return append(b, ']'), nil
}

// after returns the points later than a time.
func after(trace []live.Point, at time.Duration) points {
	i := len(trace)
	for i > 0 && trace[i-1].At > at {
		i--
	}
	return trace[i:]
}

// news has what is new sent: at once, or with what else comes in a moment.
func (p *Page) news() {
	if p.out.pending != nil {
		return
	}
	wait := p.gather - time.Since(p.out.at)
	if wait <= 0 {
		p.send()
		return
	}
	p.out.pending = time.AfterFunc(wait, func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.out.pending != nil {
			p.send()
		}
	})
}

// send hands what is new to all guests.
func (p *Page) send() {
	if p.out.pending != nil {
		p.out.pending.Stop()
		p.out.pending = nil
	}
	m := message{Now: p.state.Now.Seconds(), V: after(p.state.VTrace, p.out.volts), T: after(p.state.TTrace, p.out.trim), C: after(p.state.CTrace, p.out.command), Tone: p.out.tone}
	p.out.at, p.out.tone = time.Now(), ""
	p.mark(m.V, m.T, m.C)
	if b := p.viewJSON(); !bytes.Equal(b, p.out.view) {
		p.out.view, m.View = b, b
	}
	if b := p.axisJSON(); !bytes.Equal(b, p.out.axis) {
		p.out.axis, m.Axis = b, b
	}
	if len(m.V)+len(m.T)+len(m.View)+len(m.Axis)+len(m.Tone) > 0 {
		p.broadcast(encode(m))
	}
}

func (p *Page) mark(v, t, c points) {
	if n := len(v); n > 0 {
		p.out.volts = v[n-1].At
	}
	if n := len(t); n > 0 {
		p.out.trim = t[n-1].At
	}
	if n := len(c); n > 0 {
		p.out.command = c[n-1].At
	}
}

// whole is all that a new guest needs.
func (p *Page) whole() []byte {
	from := p.state.Now - live.Kept
	return encode(message{Whole: true, Now: p.state.Now.Seconds(), V: after(p.state.VTrace, from), T: after(p.state.TTrace, from), C: after(p.state.CTrace, from),
		View: p.viewJSON(), Axis: p.axisJSON()})
}

func encode(m message) []byte { return encodeAny(m) }

func encodeAny(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // numbers and strings of our own
	}
	return b
}

func (p *Page) viewJSON() []byte { return encodeAny(viewOf(p.state, p.cfg.Controls, p.status)) }

func (p *Page) axisJSON() []byte { return encodeAny(axisOf(p.state, p.state.Now-live.Kept)) }

// broadcast never waits.
func (p *Page) broadcast(b []byte) {
	for g := range p.guests {
		select {
		case g.queue <- b:
		default:
			close(g.gone)
			delete(p.guests, g)
		}
	}
}

// events is the stream of one guest.
func (p *Page) events(w http.ResponseWriter, r *http.Request) {
	from, _, _ := net.SplitHostPort(r.RemoteAddr)
	g := &guest{from: from, queue: make(chan []byte, queued), gone: make(chan struct{})}
	p.mu.Lock()
	same := 0
	for o := range p.guests {
		if o.from == from {
			same++
		}
	}
	if len(p.guests) >= maxGuests || same >= maxFrom {
		p.mu.Unlock()
		w.Header().Set("Retry-After", "5")
		http.Error(w, "", http.StatusServiceUnavailable)
		return
	}
	first := p.whole()
	p.guests[g] = struct{}{}
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		delete(p.guests, g)
		p.mu.Unlock()
	}()

	w.Header().Set("Content-Type", "text/event-stream")
	rc := http.NewResponseController(w)
	write := func(format string, args ...any) bool {
		// The server's own limits are for short answers.
		if rc.SetWriteDeadline(time.Now().Add(patience)) != nil {
			return false
		}
		if _, err := fmt.Fprintf(w, format, args...); err != nil {
			return false
		}
		return rc.Flush() == nil
	}
	_ = rc.SetReadDeadline(time.Time{})
	if !write("retry: 500\ndata: %s\n\n", first) {
		return
	}
	beat := time.NewTicker(heartbeats)
	defer beat.Stop()
	for {
		select {
		case b := <-g.queue:
			if !write("data: %s\n\n", b) {
				return
			}
		case <-beat.C:
			if !write("event: beat\ndata: %.1f\n\n", p.age().Seconds()) {
				return
			}
		case <-g.gone:
			return
		case <-r.Context().Done():
			// What was decided last is still told.
			for {
				select {
				case b := <-g.queue:
					if !write("data: %s\n\n", b) {
						return
					}
				default:
					_, _ = io.WriteString(w, "event: end\ndata: 0\n\n")
					return
				}
			}
		}
	}
}

// age is for how long nothing has come, 0 where nothing is expected to.
func (p *Page) age() time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.status.Still || p.state.Verdict != nil {
		return 0
	}
	return max(time.Since(p.wrote), p.state.Silent())
}
