package live

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"pushback/analysis"
	"pushback/analysis/session"
)

// Header is the first of the JSON lines.
type Header struct {
	ID       string
	Bus      string
	Dialect  string // j1979, j1979-2
	Sensors  []string
	Watching string
	By       string // wire or mixture
}

// JSONLines is a sink that prints one JSON object a line, each at once.
type JSONLines struct {
	w       io.Writer
	samples bool
}

// NewJSONLines prints to w; samples are printed too if wanted.
func NewJSONLines(w io.Writer, samples bool) *JSONLines { return &JSONLines{w: w, samples: samples} }

// Begin prints the session line.
func (p *JSONLines) Begin(h Header) error {
	if h.Sensors == nil {
		h.Sensors = []string{}
	}
	return p.line(struct {
		Kind     string   `json:"kind"`
		ID       string   `json:"id"`
		Bus      string   `json:"bus"`
		Dialect  string   `json:"dialect"`
		Sensors  []string `json:"sensors"`
		Watching string   `json:"watching"`
		By       string   `json:"by"`
	}{"session", h.ID, h.Bus, h.Dialect, h.Sensors, h.Watching, h.By})
}

// Write prints a frame's samples (if wanted) and events.
func (p *JSONLines) Write(f session.Frame) error {
	if p.samples {
		for _, s := range f.Samples {
			if s.Missing {
				continue
			}
			if err := p.line(struct {
				Kind  string  `json:"kind"`
				T     float64 `json:"t"`
				Name  string  `json:"name"`
				Value float64 `json:"value"`
				Unit  string  `json:"unit"`
			}{"sample", math.Round(s.Received.Seconds()*1000) / 1000, s.Signal.Name, s.Value, s.Signal.Unit}); err != nil {
				return err
			}
		}
	}
	for _, e := range f.Events {
		if err := p.line(e); err != nil {
			return err
		}
	}
	return nil
}

// Found prints what was found beside the events, before the verdict.
func (p *JSONLines) Found(v any) error { return p.line(v) }

// End prints the verdict.
func (p *JSONLines) End(v analysis.Verdict) error { return p.line(v) }

func (p *JSONLines) line(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	_, err = p.w.Write(append(b, '\n'))
	return err
}
