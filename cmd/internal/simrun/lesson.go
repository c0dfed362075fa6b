package simrun

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd/simcar"
)

// hidden are the cars of a lesson: of each link of the ring one that fails, and causes that a sound
// loop is blamed for. Those with a wide-range sensor are tested by mixture.
var hidden = []string{
	"healthy", "vacuum-leak", "vacuum-leak-large", "wide-half-blind", "exhaust-leak-large", "crossed-banks",
	"sensor-dead-low", "wide-pump-open", "sensor-lazy", "input-dead", "trim-frozen", "fuel-not-delivered",
}

// Hidden is the car that a seed hides. Twelve seeds on end, from 1, 13 and so on, hide each of the twelve once.
func Hidden(seed uint64) (simcar.Car, error) {
	n := uint64(len(hidden))
	block, i := (seed-1)/n, (seed-1)%n
	return simcar.Find(hidden[rand.New(rand.NewPCG(block, n)).Perm(len(hidden))[i]])
}

// Second is what a reading line of a lesson shows: one second of a session. NaN: not read.
type Second struct {
	At        int              // s since the session began, where it begins
	Low, High float64          // of the forced sensor: V, or lambda of a wide-range one
	Trim      float64          // %, short-term, of its bank
	Long      float64          // %
	Other     float64          // %, short-term, of the other bank
	Rear      float64          // V, behind the catalyst
	RPM       float64          // engine speed
	Steps     []session.Prompt // that began in it
}

// Sheet gathers a session second by second, as a chart recorder would: nothing of it is judged. It
// is a session's view.
type Sheet struct {
	Seconds []Second
	sensor  decode.SensorID
	reads   string // the signal that is the sensor's own
	asked   []session.Prompt
	trim    string // the signal that its trim is taken from
}

// NewSheet returns an empty one for the forced sensor, which may be a wide-range one.
func NewSheet(sensor decode.SensorID, wide bool) *Sheet {
	s := &Sheet{sensor: sensor, reads: sensor.Voltage()}
	if wide {
		s.reads = sensor.Ratio()
	}
	return s
}

// Prompt keeps what is asked for.
func (s *Sheet) Prompt(p session.Prompt) {
	if p.New {
		s.asked = append(s.asked, p)
	}
}

// Write takes a frame.
func (s *Sheet) Write(f session.Frame) error {
	for _, x := range f.Samples {
		if !x.Missing {
			s.add(x)
		}
	}
	if len(s.asked) > 0 {
		row := s.row(f.Record.At)
		row.Steps = append(row.Steps, s.asked...)
		s.asked = nil
	}
	return nil
}

func (s *Sheet) add(x decode.Sample) {
	row, v := s.row(x.Received), x.Value
	switch x.Signal.Name {
	case s.reads:
		if math.IsNaN(row.Low) {
			row.Low, row.High = v, v
		}
		row.Low, row.High = min(row.Low, v), max(row.High, v)
	case s.sensor.Trim(), s.sensor.TrimBeside():
		// A bank's own trim wins: beside a voltage it may not be the same.
		if x.Signal.Name == s.sensor.Trim() || s.trim != s.sensor.Trim() {
			row.Trim, s.trim = v, x.Signal.Name
		}
	case s.sensor.LongTrim():
		row.Long = v
	case s.sensor.Beside().Trim():
		row.Other = v
	case s.sensor.Downstream().Voltage():
		row.Rear = v
	case "RPM":
		row.RPM = v
	}
}

// row is that of a time; what is read once in a while stays as it was.
func (s *Sheet) row(at time.Duration) *Second {
	t, nan := int(at/time.Second), math.NaN()
	n := len(s.Seconds)
	if n > 0 && s.Seconds[n-1].At >= t {
		return &s.Seconds[n-1]
	}
	r := Second{Trim: nan, Long: nan, Other: nan, Rear: nan, RPM: nan}
	if n > 0 {
		r = s.Seconds[n-1]
	}
	r.At, r.Low, r.High, r.Steps = t, nan, nan, nil
	s.Seconds = append(s.Seconds, r)
	return &s.Seconds[n]
}

// Right reports whether an answer is right for a car, by the names of the JSON verdict.
func Right(c simcar.Car, answer string) bool { return slices.Contains(Expects(c), answer) }

// Expects are the conclusions that are right for a car, tested as a lesson tests it.
func Expects(c simcar.Car) []string {
	if By(c) == analysis.ByMixture {
		return []string{c.ByMixture}
	}
	return append([]string{c.Expect}, c.Also...)
}

// By is what a lesson forces of a car: of a wide-range sensor the wire never.
func By(c simcar.Car) analysis.By {
	if c.ByMixture != "" {
		return analysis.ByMixture
	}
	return analysis.ByWire
}

// HiddenName is what a hidden car is called until the lesson is over.
func HiddenName(seed uint64) string { return fmt.Sprintf("hidden car %d", seed) }
