package page

import (
	"encoding/json"
	"net/http"
	"time"

	"pushback/obd"
)

// act is what a watcher asks for.
type act struct {
	Do   string  `json:"do"`
	Text string  `json:"text"`
	To   float64 `json:"to"` // session time, s
}

func (p *Page) do(w http.ResponseWriter, r *http.Request) {
	if r.Header.Get("Content-Type") != "application/json" {
		http.Error(w, "", http.StatusUnsupportedMediaType)
		return
	}
	var a act
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, 1<<10))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&a); err != nil {
		http.Error(w, "", http.StatusBadRequest)
		return
	}
	if !p.acts.take(time.Now()) {
		http.Error(w, "", http.StatusTooManyRequests)
		return
	}
	if !a.done(p.cfg.Hands) {
		http.Error(w, "", http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// done does it, and reports whether it could be.
func (a act) done(h Hands) bool {
	mark := func(m obd.Mark) bool {
		if h.Mark != nil {
			h.Mark(m)
		}
		return h.Mark != nil
	}
	call := func(f func()) bool {
		if f != nil {
			f()
		}
		return f != nil
	}
	switch a.Do {
	case "lean", "rich", "release":
		return mark(obd.Mark{Kind: obd.MarkKind(a.Do)})
	case "note":
		text := cleaned(a.Text)
		return text != "" && mark(obd.Mark{Kind: obd.MarkNote, Text: text})
	case "enter":
		return call(h.Enter)
	case "skip":
		return call(h.Skip)
	case "repeat":
		return call(h.Again)
	}
	if h.Play == nil {
		return false
	}
	switch a.Do {
	case "pause":
		return call(h.Play.Pause)
	case "step":
		return call(h.Play.Step)
	case "slower":
		return call(h.Play.Slow)
	case "faster":
		return call(h.Play.Faster)
	case "seek":
		if a.To < 0 || a.To > 1e6 { // beyond the end is the end
			return false
		}
		h.Play.Seek(time.Duration(a.To * float64(time.Second)))
		return true
	}
	return false
}
