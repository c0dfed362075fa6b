// Package hands is a simulated technician: it is given a guide's prompts and does at the wire,
// and taps, what a person does with them, mistakes and all, on the simulated car's own clock.
//
//	style := hands.Random(seed)                        // or one of hands.Styles
//	cfg.BranchByHand = true                            // hands open and close the branch
//	h := hands.New(style, sim, "B1S1")
//	for each frame of the session:
//		h.Prompt(step)                                 // when the guide says something new
//		for _, word := range h.Due() { … }             // lines as on test's standard input
//
// Due does at the wire what is due by now, so call it at least once a reading.
package hands

import (
	"math/rand/v2"
	"slices"
	"time"

	"pushback/obd/simcar"
)

// Car is what the hands work on; [simcar.Sim] is one.
type Car interface {
	Now() time.Duration
	Apply(simcar.Force) error
	Release(...simcar.ForceKind)
	Clip(sensor string) error
}

// Style is how a technician works. The zero value does everything at once and as asked, and
// taps as the contact is made. Times are in seconds.
type Style struct {
	Name string

	React    float64 // from the prompt to the contact
	Tap      float64 // from the contact, or letting go, to the tap; below 0: before it
	Never    bool    // nothing is tapped
	Twice    bool    // each tap is made twice
	Wrong    bool    // the first tap says the other side
	Hold     float64 // lets go after so long, whatever is asked; 0: when asked
	Late     float64 // lets go so long after being asked
	Slip     float64 // into each hold, the clip slips off and is put on again 1.5 s later; 0: it holds
	Touch    bool    // the first contact is a touch of 1.5 s
	Swapped  bool    // forces the other side first
	Other    string  // forces this sensor in the first hold, such as B1S2
	Open     bool    // does not close the branch after the last release
	Forgets  bool    // never opens the branch
	Away     float64 // is not there for so long at the first force
	Ohms     float64 // of the contact; 0: a good one
	Volts    float64 // of the source for rich; 0: 0.9
	Trembles bool    // the contact shakes
}

// Hands works at one car.
type Hands struct {
	style  Style
	car    Car
	sensor string
	holds  int
	side   simcar.ForceKind // held now; "": none
	todo   []action

	driving time.Duration // busy on the road until then
}

// action is something to do at a time.
type action struct {
	at   time.Duration
	do   func()
	word string
}

// New returns the hands of a technician who is to force the sensor, such as B1S1; "": the tap
// stays where it is.
func New(style Style, car Car, sensor string) *Hands {
	return &Hands{style: style, car: car, sensor: sensor}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

// at plans an action, s seconds from now, not before now.
func (h *Hands) at(s float64, word string, do func()) {
	at := h.car.Now() + max(seconds(s), 0)
	i := len(h.todo)
	for i > 0 && h.todo[i-1].at > at {
		i--
	}
	h.todo = slices.Insert(h.todo, i, action{at, do, word})
}

// tap plans the tap that belongs to something done s seconds from now.
func (h *Hands) tap(s float64, word string) {
	if h.style.Never {
		return
	}
	h.at(s+h.style.Tap, word, nil)
	if h.style.Twice {
		h.at(s+h.style.Tap+0.6, word, nil)
	}
}

// Due does what is due and returns what is said: tap, or mark lean and mark rich where the
// wrong button is pressed.
func (h *Hands) Due() (words []string) {
	for len(h.todo) > 0 && h.todo[0].at <= h.car.Now() {
		a := h.todo[0]
		h.todo = h.todo[1:]
		if a.do != nil {
			a.do()
		}
		if a.word != "" {
			words = append(words, a.word)
		}
	}
	return words
}

// Next returns when something is due next.
func (h *Hands) Next() (time.Duration, bool) {
	if len(h.todo) == 0 {
		return 0, false
	}
	return h.todo[0].at, true
}

// Prompt takes in a step that the guide begins, by the names of the JSON step lines. What no
// hand is asked for is passed over.
func (h *Hands) Prompt(step string) {
	switch step {
	case "open_level":
		if !h.style.Forgets {
			h.at(h.style.React, "", h.openBranch)
			h.tap(h.style.React, "tap")
		}
	case "baseline":
		h.at(h.style.React, "", func() { h.car.Release(simcar.ForceOpen) })
	case "go_lean":
		h.force(simcar.ForceLean)
	case "go_rich":
		h.force(simcar.ForceRich)
	case "go_rich_mixture":
		h.force(simcar.ForcePropane)
	case "go_lean_mixture":
		h.force(simcar.ForceVacuum)
	case "release_now", "shut_off":
		if h.side != "" {
			h.let(h.style.Late)
		}
	case "lift_off", "full_load":
		if h.drives() {
			h.road(step)
			return
		}
		h.at(h.style.React, "", func() { h.apply(simcar.Force{Kind: simcar.ForceRev, For: 6 * time.Second}) })
		h.tap(h.style.React+6, "tap")
	case "done":
		h.todo = slices.DeleteFunc(h.todo, func(a action) bool { return a.word != "" })
		if h.side != "" {
			h.let(0)
		}
	}
}

// drives reports whether the sensor is one behind the catalyst, which a drive tests: nothing is tapped at the wheel.
func (h *Hands) drives() bool { return len(h.sensor) == 4 && h.sensor[3] > '1' }

// road drives what is asked for; who does so already hears it again and goes on.
func (h *Hands) road(step string) {
	kind, takes := simcar.ForceCoast, 13.0
	if step == "full_load" {
		kind, takes = simcar.ForcePull, 7
	}
	if now := h.car.Now(); now >= h.driving {
		h.driving = now + seconds(h.style.React+takes)
		h.at(h.style.React, "", func() { h.apply(simcar.Force{Kind: kind}) })
	}
}

func (h *Hands) openBranch() { h.apply(simcar.Force{Kind: simcar.ForceOpen}) }

// apply does something at the car; what these hands do is always valid.
func (h *Hands) apply(f simcar.Force) {
	if err := h.car.Apply(f); err != nil {
		panic(err)
	}
}

// force plans a hold.
func (h *Hands) force(kind simcar.ForceKind) {
	if h.side != "" { // still busy with the last one; who holds already what is asked for says so again
		if h.side == kind {
			h.tap(h.style.React, "tap")
		}
		return
	}
	s := h.style
	h.holds++
	asked := kind
	if s.Swapped && kind.Wire() {
		kind = map[simcar.ForceKind]simcar.ForceKind{simcar.ForceLean: simcar.ForceRich, simcar.ForceRich: simcar.ForceLean}[kind]
	}
	sensor := h.sensor
	if s.Other != "" && h.holds == 1 {
		sensor = s.Other
	}
	begin := s.React
	if h.holds == 1 {
		begin += s.Away
	}
	f := simcar.Force{Kind: kind, Shaky: s.Trembles && kind.Wire()}
	if kind.Wire() {
		f.Ohms = s.Ohms
	}
	if kind == simcar.ForceRich {
		f.Volts = s.Volts
	}
	h.side = kind
	mine := h.holds
	h.at(begin, "", func() {
		if h.side != kind || h.holds != mine { // told to let go before there was a contact
			return
		}
		if kind.Wire() {
			if sensor != "" {
				if err := h.car.Clip(sensor); err != nil {
					panic(err)
				}
			}
			if !s.Forgets {
				h.openBranch()
			}
		}
		h.apply(f)
	})
	word := "tap"
	if s.Wrong && h.holds == 1 {
		word = "mark " + map[bool]string{true: "rich", false: "lean"}[asked == simcar.ForceLean || asked == simcar.ForceVacuum]
	}
	h.tap(begin, word)
	switch {
	case s.Touch && h.holds == 1:
		h.at(begin+1.5, "", func() { h.car.Release(kind) })
		h.at(begin+1.6, "", func() { h.letGo(kind) })
	case s.Hold > 0:
		h.let(begin + s.Hold)
	case s.Slip > 0:
		h.at(begin+s.Slip, "", func() { h.car.Release(kind) })
		h.at(begin+s.Slip+1.5, "", func() {
			if h.side == kind {
				h.apply(f)
			}
		})
	}
}

// let plans letting go, with the tap that says so.
func (h *Hands) let(s float64) {
	kind := h.side
	h.at(s, "", func() { h.letGo(kind) })
	if h.style.Hold == 0 {
		h.tap(s, "tap")
	}
}

func (h *Hands) letGo(kind simcar.ForceKind) {
	if h.side != kind {
		return
	}
	h.side = ""
	h.car.Release(kind)
	if kind.Wire() && !(h.style.Open && h.holds > 1) {
		h.car.Release(simcar.ForceOpen)
	}
}

// Styles are hands with one habit each, as they were seen at guided tests.
var Styles = []Style{
	{Name: "as asked", React: 1.5},
	{Name: "never taps", React: 1.5, Never: true},
	{Name: "taps 4 s early", React: 5, Tap: -4},
	{Name: "taps 10 s early", React: 11, Tap: -10},
	{Name: "taps 4 s late", React: 1.5, Tap: 4},
	{Name: "taps 10 s late", React: 1.5, Tap: 10},
	{Name: "taps twice", React: 1.5, Twice: true},
	{Name: "wrong button once", React: 1.5, Wrong: true},
	{Name: "holds too short", React: 1.5, Hold: 5},
	{Name: "lets go late", React: 1.5, Late: 6},
	{Name: "slips", React: 1.5, Slip: 4},
	{Name: "touches first", React: 1.5, Touch: true},
	{Name: "other order", React: 1.5, Swapped: true},
	{Name: "other sensor first", React: 1.5, Other: "B1S2"},
	{Name: "leaves the branch open", React: 1.5, Open: true},
	{Name: "forgets to open the branch", React: 1.5, Forgets: true},
	{Name: "is away for a minute", React: 1.5, Away: 60},
	{Name: "poor contact", React: 1.5, Ohms: 500},
	{Name: "weak source", React: 1.5, Volts: 0.72},
	{Name: "trembles", React: 1.5, Trembles: true},
}

// Named finds hands of Styles by their name.
func Named(name string) (Style, bool) {
	if i := slices.IndexFunc(Styles, func(s Style) bool { return s.Name == name }); i >= 0 {
		return Styles[i], true
	}
	return Style{}, false
}

// Random returns the hands of a seed: any pace, and one habit or two of Styles half of the time.
func Random(seed uint64) Style {
	r := rand.New(rand.NewPCG(seed, 0x68616e6473))
	s := Style{Name: "random", React: 0.5 + 4*r.Float64(), Tap: r.NormFloat64() * 0.8, Late: 1.5 * r.Float64()}
	for r.Float64() < 0.4 {
		switch r.IntN(17) {
		case 0, 1:
			s.Never = true
		case 2:
			s.Tap = -10 * r.Float64()
		case 3:
			s.Tap = 10 * r.Float64()
		case 4:
			s.Twice = true
		case 5:
			s.Wrong = true
		case 6:
			s.Hold = 3 + 6*r.Float64()
		case 7:
			s.Late = 10 * r.Float64()
		case 8:
			s.Slip = 2 + 8*r.Float64()
		case 9:
			s.Touch = true
		case 10:
			s.Swapped = true
		case 11:
			s.Open = true
		case 12:
			s.Forgets = true
		case 13:
			s.Ohms = 100 + 700*r.Float64()
		case 14:
			s.Other = []string{"B1S2", "B2S1"}[r.IntN(2)]
		case 15:
			s.Away = 15 + 75*r.Float64()
		case 16:
			s.Volts = 0.66 + 0.12*r.Float64()
		}
	}
	return s
}
