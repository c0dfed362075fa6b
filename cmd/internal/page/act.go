package page

import (
	"encoding/json"
	"net/http"
	"time"

	"pushback/cmd/internal/live"
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
	if !a.done(p.cfg.Controls) {
		http.Error(w, "", http.StatusBadRequest)
		return
	}
	w.WriteHeader(http.StatusNoContent)
}

// done does it, and reports whether it could be.
func (a act) done(c live.Controls) bool {
	switch a.Do {
	case "lean", "rich", "release":
		return c.Say(obd.Mark{Kind: obd.MarkKind(a.Do)})
	case "note":
		return c.Note(cleaned(a.Text))
	case "enter":
		return live.Do(c.Enter)
	case "skip":
		return live.Do(c.Skip)
	case "repeat":
		return live.Do(c.Again)
	}
	if c.Play == nil {
		return false
	}
	switch a.Do {
	case "pause":
		return live.Do(c.Play.Pause)
	case "step":
		return live.Do(c.Play.Step)
	case "slower":
		return live.Do(c.Play.Slow)
	case "faster":
		return live.Do(c.Play.Faster)
	case "seek":
		if a.To < 0 || a.To > 1e6 { // beyond the end is the end
			return false
		}
		c.Play.Seek(time.Duration(a.To * float64(time.Second)))
		return true
	}
	return false
}
