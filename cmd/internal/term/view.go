package term

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/session"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/obd"
)

// A View shows a session as it runs: events and prompts as lines, and on a
// terminal one line below them that is written over. It is a session.Sink.
type View struct {
	w         io.Writer
	style     Style
	byMixture bool
	voltage   string   // the watched signal
	trim      []string // the names under which its bank's short-term trim may come

	mu     sync.Mutex
	volts  reading
	pct    reading
	rpm    reading
	prompt session.Prompt
	drawn  time.Duration
	shown  bool // a live line is on the screen
	lost   bool
	held   time.Duration // when the force began that is held now, as events tell; 0: none is
	warned time.Duration // when it was last said that it is held too long
}

type reading struct {
	value float64
	at    time.Duration
	known bool
}

// stale is the age at which a value is no longer shown as live.
const stale = 2 * time.Second

// NewView shows the session that watches sensor ("B1S1").
func NewView(w io.Writer, style Style, sensor string, byMixture bool) *View {
	v := &View{w: w, style: style, byMixture: byMixture, trim: session.TrimNames(sensor), drawn: -time.Hour}
	if len(sensor) == 4 {
		v.voltage = "O2S" + sensor[1:2] + sensor[3:4]
	}
	return v
}

// Write shows a frame.
func (v *View) Write(f session.Frame) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, s := range f.Samples {
		v.sample(s)
	}
	if x := f.Record.Exchange; x != nil {
		v.exchange(f.Record.At, x)
	}
	if m := f.Record.Mark; m != nil {
		v.line(f.Record.At, words.You(*m))
	}
	for _, e := range f.Events {
		t := time.Duration(e.T * float64(time.Second))
		text := words.EventText(e)
		switch e.Name {
		case analysis.ForceBegins, analysis.ForceEnds:
			v.held = 0
			if e.Name == analysis.ForceBegins {
				v.held = t
			}
			text = v.style.Side(e.Side, text)
		case analysis.SensorAnswers:
			text = v.style.Side(analysis.Side(e.Toward), text)
		}
		v.line(t, text)
	}
	if f.Last {
		v.clear()
		return nil
	}
	v.heldTooLong(f.Record.At)
	v.draw(f.Record.At)
	return nil
}

// heldTooLong says each second, and loudly, that a force must end that nobody
// guides. A guide says so by its prompts.
func (v *View) heldTooLong(at time.Duration) {
	if v.prompt.Stage != "" || v.held == 0 || at-v.held < words.HoldMost || at-v.warned < time.Second {
		return
	}
	v.warned = at
	v.line(at, v.bell()+v.style.Bold(words.HeldTooLong(at-v.held)))
}

func (v *View) sample(s decode.Sample) {
	var r *reading
	switch name := s.Signal.Name; {
	case name == v.voltage:
		r = &v.volts
	case slices.Contains(v.trim, name):
		r = &v.pct
	case name == "RPM":
		r = &v.rpm
	default:
		return
	}
	if !s.Missing {
		*r = reading{s.Value, s.Received, true}
	}
}

// exchange says when the line to the car is gone and when it is back.
func (v *View) exchange(at time.Duration, x *obd.Exchange) {
	switch x.Outcome {
	case obd.LinkLost:
		if !v.lost {
			v.lost = true
			v.line(at, words.LineGone)
		}
	case obd.OK:
		if v.lost {
			v.lost = false
			v.line(at, words.LineBack)
		}
	}
}

// Prompt shows what the technician is to do.
func (v *View) Prompt(p session.Prompt) {
	v.mu.Lock()
	defer v.mu.Unlock()
	turned := p.More != v.prompt.More && p.Stage == session.StageHold
	reasons := p.Stage == session.StageReady && strings.Join(p.Why, ";") != strings.Join(v.prompt.Why, ";")
	v.prompt = p
	switch {
	case p.New || turned || reasons:
		if p.Stage == session.StageRelease {
			fmt.Fprint(v.w, v.bell())
		}
		v.line(p.At, v.style.Bold(words.PromptText(p, v.byMixture)))
	case p.Stage == session.StageRelease:
		fmt.Fprint(v.w, v.bell())
		if !v.style.Live {
			v.line(p.At, words.PromptText(p, v.byMixture))
		}
	}
}

// Say prints a line of its own.
func (v *View) Say(text string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.clear()
	fmt.Fprintln(v.w, text)
}

func (v *View) bell() string {
	if v.style.Live {
		return "\a"
	}
	return ""
}

func (v *View) line(at time.Duration, text string) {
	v.clear()
	fmt.Fprintf(v.w, "%7.1f s  %s\n", at.Seconds(), text)
}

func (v *View) clear() {
	if v.shown {
		fmt.Fprint(v.w, "\r\x1b[K")
		v.shown = false
	}
}

// draw writes the live line over, at most four times a second: digits that change
// faster cannot be read.
func (v *View) draw(at time.Duration) {
	if !v.style.Live || at-v.drawn < 250*time.Millisecond {
		return
	}
	v.drawn = at
	fmt.Fprint(v.w, "\r\x1b[K"+v.liveLine(at))
	v.shown = true
}

func (v *View) liveLine(at time.Duration) string {
	parts := []string{fmt.Sprintf("%7.1f s", at.Seconds())}
	if v.volts.known && at-v.volts.at > stale {
		parts = append(parts, words.NoData(at-v.volts.at))
	} else if v.volts.known {
		side := sideOf(v.volts.value)
		parts = append(parts, v.style.Side(side, fmt.Sprintf("%.3f V %s %-4s", v.volts.value, words.Arrow(side), strings.ToUpper(string(side)))))
		if v.pct.known {
			parts = append(parts, words.TrimShort(v.pct.value))
		}
		if v.rpm.known {
			parts = append(parts, words.RPM(v.rpm.value))
		}
	}
	if w := words.Step(v.prompt); w != "" {
		parts = append(parts, w)
	}
	return strings.Join(parts, "  ")
}

// sideOf names a reading by the usual switch point of a zirconia sensor, 0.45 V
// (common practice). It is for the eye only; the watcher judges otherwise.
func sideOf(volts float64) analysis.Side {
	if volts < 0.45 {
		return analysis.Lean
	}
	return analysis.Rich
}
