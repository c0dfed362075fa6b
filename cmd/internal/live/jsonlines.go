package live

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/words/why"
	"pushback/decode"
	"pushback/store"
)

// Header is the first of the JSON lines.
type Header struct {
	ID       string
	Bus      string
	Dialect  string // j1979, j1979-2
	Sensors  []string
	Watching string
	By       string // wire, mixture or fuelcut
	// Kind is that of the watched sensor, once its readings have told it.
	Kind func() decode.Kind
}

// HeaderOf is the session line of a stored session.
func HeaderOf(m store.Meta, kind func() decode.Kind) Header {
	return Header{Kind: kind, ID: m.ID, Bus: m.Format.Bus.String(), Dialect: m.Format.Dialect.String(), Sensors: m.Sensors, Watching: m.Watching, By: m.By}
}

// kindName is how programs are told a kind; "" of one that is not known.
func kindName(k decode.Kind) string {
	switch k {
	case decode.Narrow:
		return "narrow"
	case decode.WideRange:
		return "wide"
	}
	return ""
}

// JSONLines is a sink that prints one JSON object a line, each at once.
type JSONLines struct {
	w       io.Writer
	samples bool
	first   *Header // not printed yet: the sensor's kind is still to be told
	held    []byte  // the lines behind it
	by      analysis.By
	step    string // the last step line without its time
}

// mostHeld is how much waits for a sensor that is never read, bytes.
const mostHeld = 64 << 10

// NewJSONLines prints to w; samples are printed too if wanted.
func NewJSONLines(w io.Writer, samples bool) *JSONLines { return &JSONLines{w: w, samples: samples} }

// Begin takes what the session line says. It is printed when the sensor's kind is known, and all else
// after it.
func (p *JSONLines) Begin(h Header) error {
	if h.Sensors == nil {
		h.Sensors = []string{}
	}
	p.by = analysis.By(h.By)
	p.first = &h
	if h.Kind == nil {
		return p.begin()
	}
	return nil
}

// begin prints the session line and what has waited behind it.
func (p *JSONLines) begin() error {
	h, kind := p.first, ""
	if h.Kind != nil {
		kind = kindName(h.Kind())
	}
	p.first = nil
	err := p.line(struct {
		Kind       string   `json:"kind"`
		ID         string   `json:"id"`
		Bus        string   `json:"bus"`
		Dialect    string   `json:"dialect"`
		Sensors    []string `json:"sensors"`
		Watching   string   `json:"watching"`
		SensorKind string   `json:"sensor_kind,omitempty"`
		By         string   `json:"by"`
	}{"session", h.ID, h.Bus, h.Dialect, h.Sensors, h.Watching, kind, h.By})
	if err == nil && len(p.held) > 0 {
		_, err = p.w.Write(p.held)
		p.held = nil
	}
	return err
}

// Write prints a frame's samples (if wanted) and events.
func (p *JSONLines) Write(f session.Frame) error {
	if p.first != nil && (p.first.Kind() != decode.UnknownKind || f.Last || len(p.held) > mostHeld) {
		if err := p.begin(); err != nil {
			return err
		}
	}
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
	for _, e := range slices.Concat(f.Events, f.Beside) {
		if err := p.line(why.Event(e)); err != nil {
			return err
		}
	}
	return nil
}

// Prompt prints what the technician is asked to do, when that has changed.
func (p *JSONLines) Prompt(step session.Prompt) {
	step.Why = why.Told(step.Why)
	now := step
	now.At, now.Since = 0, 0
	b, err := now.StepJSON(p.by)
	if err != nil || string(b) == p.step && !step.New {
		return
	}
	p.step = string(b)
	if b, err = step.StepJSON(p.by); err == nil {
		_ = p.line(json.RawMessage(b)) // the next line of the session tells what is wrong with the output
	}
}

// Lead prints what a drive that fills the trim map needs, when that has changed.
func (p *JSONLines) Lead(at time.Duration, g trimmap.Guidance) {
	if g.Step == p.step {
		return
	}
	p.step = g.Step
	cautions := []string{}
	if caution := why.Advice(g.What).Caution(); caution != "" {
		cautions = append(cautions, caution)
	}
	_ = p.line(struct {
		Kind    string   `json:"kind"`
		T       float64  `json:"t"`
		Step    string   `json:"step"`
		Caution []string `json:"caution"`
	}{"step", math.Round(at.Seconds()*1000) / 1000, g.Step, cautions})
}

// Found prints what was found beside the events, before the verdict.
func (p *JSONLines) Found(v any) error { return p.line(v) }

// End prints the verdict.
func (p *JSONLines) End(v analysis.Verdict) error { return p.line(why.Verdict(v)) }

func (p *JSONLines) line(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("write JSON: %w", err)
	}
	if b = append(b, '\n'); p.first != nil {
		p.held = append(p.held, b...)
		return nil
	}
	_, err = p.w.Write(b)
	return err
}
