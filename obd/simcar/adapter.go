package simcar

import (
	"slices"
	"strings"
	"time"

	"pushback/obd"
)

// thinking is the adapter's own time for a command.
const thinking = 100 * time.Microsecond

// event is something that happens to the adapter at a time.
type event struct {
	at time.Duration
	do func()
}

// timedByte is one byte on the serial line and when it has arrived.
type timedByte struct {
	at time.Duration
	b  byte
}

// settings are what AT commands change and a restart restores.
type settings struct {
	echo, linefeeds, spaces, headers bool
	adaptive                         int
	timeout                          time.Duration
	header                           []byte // ATSH; nil: the bus's own
	raw                              bool   // ATCAF0: a request is the whole CAN frame
}

func defaults() settings {
	return settings{echo: true, spaces: true, adaptive: 1, timeout: 200 * time.Millisecond}
}

// adapter is the interface between serial line and bus: a state machine on simulated
// time. It never blocks; what takes time is an event.
type adapter struct {
	s *Sim
	serialLine
	events []event // of the adapter: a prompt forgets them
	onBus  []event // of the bus, in order of time: they come whatever the adapter does

	settings
	chosen obd.Bus // ATSP; BusUnknown: search
	search bool    // ATSP A n or 0: search when the chosen bus does not answer
	stored string  // argument of the last ATSP, kept over a restart; "": 0
	bus    obd.Bus // in use; BusUnknown: not connected
	linked bool    // the bus has been started

	line []byte
	last string
	busy bool

	hung   bool
	storm  bool // on the bus
	asleep bool // K-line computers want to be started again

	restedSince time.Duration // end of the last traffic on the bus
	slowest     time.Duration // recent reply time, for adaptive timing
	x           *transfer
}

// serialLine is the line to the tester.
type serialLine struct {
	byteTime        time.Duration
	in, out         []timedByte
	lineIn, lineOut time.Duration // when it is free again
	baud            int
	returning       int // speed to go back to unless a return comes; 0: none
}

// transfer is one request on the bus until the adapter stops listening.
type transfer struct {
	expect, lines int
	armed         int // number of the time-out that counts
	remaining     int // messages that computers have yet to send
	asked         time.Duration
	patience      time.Duration // until then an answer that was announced is waited for
}

func newAdapter(s *Sim, baud int) *adapter {
	a := &adapter{s: s, settings: defaults(), search: true}
	a.setBaud(baud)
	return a
}

func (a *adapter) setBaud(baud int) {
	a.baud, a.byteTime = baud, 10*time.Second/time.Duration(baud)
}

// heard is what arrives of a byte where the two sides' speeds differ: nothing sensible.
func (a *adapter) heard(b byte) byte {
	if d := a.s.baud - a.baud; max(d, -d)*40 > a.baud { // a receiver bears some 2.5 %
		return b*37 | 0x80
	}
	return b
}

// next returns when something happens next.
func (a *adapter) next() (time.Duration, bool) {
	at, ok := time.Duration(0), false
	if len(a.events) > 0 {
		at, ok = a.events[0].at, true
	}
	if len(a.in) > 0 && (!ok || a.in[0].at < at) {
		at, ok = a.in[0].at, true
	}
	if len(a.onBus) > 0 && (!ok || a.onBus[0].at < at) {
		at, ok = a.onBus[0].at, true
	}
	return at, ok
}

// run lets happen what next announced.
func (a *adapter) run() {
	if at, _ := a.next(); len(a.onBus) > 0 && a.onBus[0].at == at {
		do := a.onBus[0].do
		a.onBus = slices.Delete(a.onBus, 0, 1)
		do()
		return
	}
	if len(a.in) > 0 && (len(a.events) == 0 || a.in[0].at < a.events[0].at) {
		b := a.in[0].b
		a.in = slices.Delete(a.in, 0, 1)
		a.receive(b)
		return
	}
	do := a.events[0].do
	a.events = slices.Delete(a.events, 0, 1)
	do()
}

// at schedules; events of the same time keep their order.
func (a *adapter) at(t time.Duration, do func()) {
	i := len(a.events)
	for i > 0 && a.events[i-1].at > t {
		i--
	}
	a.events = slices.Insert(a.events, i, event{t, do})
}

func (a *adapter) after(d time.Duration, do func()) { a.at(a.s.now+d, do) }

// write takes bytes from the tester's side of the serial line.
func (a *adapter) write(p []byte) {
	a.lineIn = max(a.lineIn, a.s.now)
	for _, b := range p {
		a.lineIn += a.byteTime
		a.in = append(a.in, timedByte{a.lineIn, a.heard(b)})
	}
}

// take moves what has arrived at the tester's side into p.
func (a *adapter) take(p []byte) int {
	n := 0
	for n < len(p) && n < len(a.out) && a.out[n].at <= a.s.now {
		p[n] = a.out[n].b
		n++
	}
	a.out = slices.Delete(a.out, 0, n)
	return n
}

func (a *adapter) print(text string) {
	if a.hung {
		return
	}
	a.lineOut = max(a.lineOut, a.s.now)
	for i := range len(text) {
		a.lineOut += a.byteTime
		a.out = append(a.out, timedByte{a.lineOut, a.heard(text[i])})
	}
}

func (a *adapter) eol() string {
	if a.linefeeds {
		return "\r\n"
	}
	return "\r"
}

func (a *adapter) println(text string) { a.print(text + a.eol()) }

// prompt ends a command.
func (a *adapter) prompt() {
	a.print(a.eol() + ">")
	a.busy = false
	a.x = nil
	a.events = a.events[:0]
}

// done prints a last line and the prompt.
func (a *adapter) done(text string) {
	a.println(text)
	a.prompt()
}

// lineLimit bounds a command; more is an unknown command.
const lineLimit = 64

// receive takes one character.
func (a *adapter) receive(b byte) {
	if b == 0 || b == '\n' || a.hung {
		return
	}
	if a.returning > 0 {
		if b == '\r' {
			a.returning = 0
			a.done("OK")
		}
		return
	}
	if a.busy {
		// Any character stops what is going on, and is lost.
		if a.x != nil {
			a.abandon()
		}
		a.events = a.events[:0]
		a.done("STOPPED")
		return
	}
	if b != '\r' {
		if a.echo {
			a.print(string([]byte{b}))
		}
		if len(a.line) <= lineLimit {
			a.line = append(a.line, b)
		}
		return
	}
	if a.echo {
		a.print(a.eol())
	}
	command := clean(a.line)
	a.line = a.line[:0]
	if command == "" {
		command = a.last
	}
	a.last = command
	a.busy = true
	a.after(thinking, func() { a.execute(command) })
}

// clean makes a command from what was typed: capitals, no spaces or control bytes.
func clean(line []byte) string {
	var s strings.Builder
	for _, b := range line {
		switch {
		case b <= ' ' || b >= 0x7F:
		case 'a' <= b && b <= 'z':
			s.WriteByte(b - 'a' + 'A')
		default:
			s.WriteByte(b)
		}
	}
	return s.String()
}

func (a *adapter) execute(command string) {
	switch at, isAT := strings.CutPrefix(command, "AT"); {
	case command == "":
		a.prompt()
	case len(command) > lineLimit:
		a.done("?")
	case isAT:
		a.configure(at)
	default:
		a.request(command)
	}
}
