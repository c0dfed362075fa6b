package analysis

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"

	"pushback/analysis/reason"
)

// EventName names what the watcher saw. The names and their fields are promised
// to other programs.
type EventName string

const (
	Ready            EventName = "ready"
	NotReady         EventName = "not_ready"
	ForceBegins      EventName = "force_begins"
	LoopAnswers      EventName = "loop_answers"
	LoopSilent       EventName = "loop_silent"
	LoopWrongWay     EventName = "loop_wrong_way"
	TrimAtLimit      EventName = "trim_at_limit"
	ForceEnds        EventName = "force_ends"
	SensorAnswers    EventName = "sensor_answers"
	SensorSilent     EventName = "sensor_silent"
	SwitchingResumes EventName = "switching_resumes"
	OpenLoop         EventName = "open_loop"
	OtherBankAnswers EventName = "other_bank_answers"
	GapSeen          EventName = "gap"
	CodeSet          EventName = "code_set"
	ComputerLetsGo   EventName = "computer_lets_go"
	OpenLevel        EventName = "open_level"
	BranchOpen       EventName = "branch_open"
	ReturnOffset     EventName = "return_offset"
)

// NoReading is the cause of a gap in which no reading of the watched sensor came.
const NoReading = "no reading"

// Side is where a signal is held, and what a sensor reports.
type Side string

const (
	Lean Side = "lean"
	Rich Side = "rich"
)

// Opposite returns the other side.
func (s Side) Opposite() Side {
	if s == Lean {
		return Rich
	}
	return Lean
}

// Event is one finding. Which fields count depends on the name; the others are
// zero. Times are seconds since the session began. Wide because an event of any name is one value.
type Event struct {
	T    float64 // when it happened, which may be before it was noticed
	Name EventName

	Side   Side   // the side held
	Toward string // add, cut (trim); rich, lean (sensor)

	After, AfterMin, AfterMax float64 // s: best estimate and the interval that holds the truth
	Rate                      float64 // % per s, against the force
	Waited                    float64 // s
	Moved                     float64 // %
	Value                     float64 // % or V
	Bank                      int
	From, To                  float64 // s
	Cause                     string
	How                       string // status, trim; drive
	Status                    reason.Reason
	Code                      string
	Pending                   bool
	Reasons                   []reason.Reason
	Sensor                    string // whose it is, where both banks' wires are held and it is not of the watched one
}

// field is one key of a JSON object; a pointer is read into, too.
type field struct {
	key   string
	value any
}

// fields lists what an event of this name carries, in the promised order.
func (e *Event) fields() []field {
	switch e.Name {
	case Ready, NotReady:
		return []field{{"reasons", &e.Reasons}}
	case ForceBegins, ForceEnds:
		return []field{{"side", &e.Side}}
	case LoopAnswers:
		return []field{{"side", &e.Side}, {"toward", &e.Toward}, {"after_s", &e.After},
			{"after_min_s", &e.AfterMin}, {"after_max_s", &e.AfterMax}, {"rate_pct_s", &e.Rate}}
	case LoopSilent:
		return []field{{"side", &e.Side}, {"waited_s", &e.Waited}, {"moved_pct", &e.Moved}}
	case LoopWrongWay:
		return []field{{"side", &e.Side}, {"toward", &e.Toward}}
	case TrimAtLimit:
		return []field{{"value_pct", &e.Value}}
	case SensorAnswers:
		return []field{{"toward", &e.Toward}, {"after_s", &e.After}}
	case SensorSilent:
		return []field{{"toward", &e.Toward}, {"waited_s", &e.Waited}}
	case SwitchingResumes:
		return []field{{"after_s", &e.After}}
	case OpenLoop:
		return []field{{"status", &e.Status}}
	case OtherBankAnswers:
		return []field{{"bank", &e.Bank}}
	case GapSeen:
		return []field{{"from_s", &e.From}, {"to_s", &e.To}, {"cause", &e.Cause}}
	case ComputerLetsGo:
		return []field{{"side", &e.Side}, {"after_s", &e.After}, {"how", &e.How}}
	case OpenLevel, ReturnOffset:
		return []field{{"value_v", &e.Value}}
	case BranchOpen:
		return []field{{"side", &e.Side}}
	case CodeSet:
		return []field{{"code", &e.Code}, {"pending", &e.Pending}}
	}
	return nil
}

// MarshalJSON writes the event as one object of the JSON lines, keys in a fixed
// order and numbers rounded to a thousandth; its reasons must be in words, see package reason.
func (e Event) MarshalJSON() ([]byte, error) {
	if e.Reasons == nil {
		e.Reasons = []reason.Reason{}
	}
	head := []field{{"kind", "event"}, {"t", e.T}, {"event", string(e.Name)}}
	if e.Sensor != "" {
		head = append(head, field{"sensor", e.Sensor})
	}
	return object(append(head, e.fields()...))
}

// UnmarshalJSON reads what MarshalJSON wrote. Keys that an event of its name does not
// have are passed over.
func (e *Event) UnmarshalJSON(b []byte) error {
	var raw map[string]json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	var got Event
	read := func(f field) error {
		v, ok := raw[f.key]
		if !ok {
			return nil
		}
		if err := json.Unmarshal(v, f.value); err != nil {
			return fmt.Errorf("read %s of an event: %w", f.key, err)
		}
		return nil
	}
	for _, f := range []field{{"event", &got.Name}, {"t", &got.T}, {"sensor", &got.Sensor}} {
		if err := read(f); err != nil {
			return err
		}
	}
	for _, f := range got.fields() {
		if err := read(f); err != nil {
			return err
		}
	}
	*e = got
	return nil
}

// object writes fields as a JSON object in the given order.
func object(fields []field) ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, f := range fields {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(strconv.Quote(f.key))
		b.WriteByte(':')
		v := f.value
		switch x := v.(type) {
		case float64:
			v = round3(x)
		case *float64:
			v = round3(*x)
		}
		j, err := json.Marshal(v)
		if err != nil {
			return nil, err
		}
		b.Write(j)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// round3 rounds to three decimals, and never to minus zero.
func round3(x float64) float64 {
	if math.Abs(x) >= 1e15 { // it has no decimals, and times 1000 might be no number
		return x
	}
	r := math.Round(x*1000) / 1000
	if r == 0 {
		return 0
	}
	return r
}
