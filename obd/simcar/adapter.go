package simcar

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
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

// settings are what AT commands change and ATD restores.
type settings struct {
	echo, linefeeds, spaces, headers, formatting bool
	adaptive                                     int
	timeout                                      time.Duration
	header                                       []byte // ATSH; nil: the bus's own
	priority                                     byte   // ATCP
	filter                                       string // ATCRA as digits, X for any; "": all
}

func defaults() settings {
	return settings{echo: true, linefeeds: false, spaces: true, formatting: true, adaptive: 1,
		timeout: 200 * time.Millisecond, priority: 0x18}
}

// adapter is the interface between serial line and bus: a state machine on simulated
// time. It never blocks; what takes time is an event.
type adapter struct {
	s               *Sim
	byteTime        time.Duration
	in, out         []timedByte
	lineIn, lineOut time.Duration // when the serial line is free again
	events          []event

	settings
	chosen obd.Bus // ATSP; BusUnknown: search
	search bool    // ATSP A n or 0: search when the chosen bus does not answer
	stored string  // argument of the last ATSP, kept over a restart; "": 0
	bus    obd.Bus // in use; BusUnknown: not connected
	linked bool    // the bus has been started

	line []byte
	last string
	busy bool

	baud      int // of the serial line
	returning int // speed to go back to unless a return comes; 0: none
	hung      bool
	storm     bool // on the bus
	asleep    bool // K-line computers want to be started again

	restedSince time.Duration // end of the last traffic on the bus
	slowest     time.Duration // recent reply time, for adaptive timing
	x           *transfer
}

// transfer is one request on the bus until the adapter stops listening.
type transfer struct {
	expect, lines int
	armed         int // number of the time-out that counts
	remaining     int // messages that computers have yet to send
	asked         time.Duration
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
	return at, ok
}

// run lets happen what next announced.
func (a *adapter) run() {
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

const identity = "SIMULATED INTERFACE v1.0"

// busTitle is how ATDP names the buses.
var busTitle = [...]string{
	"AUTO", "SAE J1850 PWM", "SAE J1850 VPW", "ISO 9141-2", "ISO 14230-4 (KWP 5BAUD)", "ISO 14230-4 (KWP FAST)",
	"ISO 15765-4 (CAN 11/500)", "ISO 15765-4 (CAN 29/500)", "ISO 15765-4 (CAN 11/250)", "ISO 15765-4 (CAN 29/250)",
}

// configure executes an AT command, given without the letters AT.
func (a *adapter) configure(c string) {
	if slices.Contains(a.s.cfg.Refuse, c) {
		a.done("?")
		return
	}
	if v, ok := strings.CutPrefix(c, "BRD"); ok && a.changeBaud(v) {
		return
	}
	switch c {
	case "Z":
		a.restart()
		return
	case "WS":
		a.begin(100 * time.Millisecond)
		return
	case "I":
		a.done(identity)
		return
	case "@1":
		a.done("SIMULATED OBD TO RS232 INTERFACE")
		return
	case "RV":
		if a.s.cfg.KeyOff {
			a.done("12.4V")
		} else {
			a.done("14.1V")
		}
		return
	case "DP":
		a.done(a.describe())
		return
	case "DPN":
		number := fmt.Sprintf("%X", int(a.current()))
		if a.search {
			number = "A" + number
		}
		a.done(number)
		return
	case "CS":
		a.done("T:00 R:00")
		return
	case "IGN":
		if a.s.cfg.KeyOff {
			a.done("OFF")
		} else {
			a.done("ON")
		}
		return
	}
	if a.set(c) {
		a.done("OK")
	} else {
		a.done("?")
	}
}

// restart is what power-up and ATZ do.
func (a *adapter) restart() {
	a.setBaud(a.s.cfg.Baud)
	a.begin(600 * time.Millisecond)
}

func (a *adapter) begin(wait time.Duration) {
	a.settings = defaults()
	if a.stored == "" {
		a.stored = "0"
	}
	a.setBus(a.stored)
	a.last = ""
	a.busy = true
	a.after(wait, func() {
		a.print(a.eol() + a.eol())
		a.done(identity)
	})
}

// changeBaud is ATBRD: 4 MHz divided by a number of two digits. OK comes at the old
// speed, the name at the new one; without a return at the new speed within 75 ms the
// old one is restored (from memory of the dialogue).
func (a *adapter) changeBaud(v string) bool {
	n, err := strconv.ParseUint(v, 16, 8)
	if err != nil || len(v) != 2 || n == 0 || 4_000_000/int(n) > a.s.cfg.MaxBaud*40/39 {
		return false
	}
	old := a.baud
	a.println("OK")
	a.at(max(a.lineOut, a.s.now)+5*time.Millisecond, func() {
		a.setBaud(4_000_000 / int(n))
		a.returning = old
		a.println(identity)
		a.at(a.lineOut+75*time.Millisecond, func() {
			if a.returning > 0 {
				a.setBaud(a.returning)
				a.returning = 0
				a.prompt()
			}
		})
	})
	return true
}

// current is the bus in use, or else the chosen one.
func (a *adapter) current() obd.Bus {
	if a.bus != obd.BusUnknown {
		return a.bus
	}
	return a.chosen
}

func (a *adapter) describe() string {
	title := busTitle[a.current()]
	if a.search && a.current() != obd.BusUnknown {
		title = "AUTO, " + title
	}
	return title
}

// set executes an AT command that is answered by OK, and reports whether there is
// such a command.
func (a *adapter) set(c string) bool {
	onOff := func(flag *bool, v string) bool {
		if v != "0" && v != "1" {
			return false
		}
		*flag = v == "1"
		return true
	}
	switch c {
	case "D":
		a.settings = defaults()
		a.chosen, a.search, a.linked, a.bus = obd.BusUnknown, true, false, obd.BusUnknown
		return true
	case "PC":
		a.linked = false
		return true
	case "AR":
		a.filter = ""
		return true
	case "CRA":
		a.filter = ""
		return true
	case "AL", "NL", "M0", "M1", "V0", "V1", "R0", "R1", "FE", "CFC0", "CFC1", "KW0", "KW1", "BI":
		return true
	}
	for _, p := range []struct {
		prefix string
		do     func(v string) bool
	}{
		{"CAF", func(v string) bool { return onOff(&a.formatting, v) }},
		{"CRA", a.setFilter},
		{"E", func(v string) bool { return onOff(&a.echo, v) }},
		{"L", func(v string) bool { return onOff(&a.linefeeds, v) }},
		{"ST", func(v string) bool {
			n, err := strconv.ParseUint(v, 16, 8)
			if err != nil || len(v) != 2 {
				return false
			}
			if n == 0 {
				n = 50
			}
			a.timeout = time.Duration(n) * 4 * time.Millisecond
			return true
		}},
		{"SW", func(v string) bool { return len(v) == 2 && isHex(v) }},
		{"IB", func(v string) bool { return v == "10" || v == "96" || v == "48" }},
		{"SH", a.setHeader},
		{"SP", func(v string) bool {
			ok := a.setBus(v)
			if ok {
				a.stored = v
			}
			return ok
		}},
		{"TP", a.setBus},
		{"CP", func(v string) bool {
			n, err := strconv.ParseUint(v, 16, 5)
			a.priority = byte(n)
			return err == nil
		}},
		{"S", func(v string) bool { return onOff(&a.spaces, v) }},
		{"H", func(v string) bool { return onOff(&a.headers, v) }},
		{"AT", func(v string) bool {
			if v != "0" && v != "1" && v != "2" {
				return false
			}
			a.adaptive = int(v[0] - '0')
			return true
		}},
	} {
		if v, ok := strings.CutPrefix(c, p.prefix); ok && p.do(v) {
			return true
		}
	}
	return false
}

func isHex(s string) bool { return strings.Trim(s, "0123456789ABCDEF") == "" }

// setBus is ATSP and ATTP: a protocol number, with an A where the adapter may search
// when that one does not answer.
func (a *adapter) setBus(v string) bool {
	n, auto := strings.CutPrefix(v, "A")
	if !auto && len(v) == 2 && v[1] == 'A' {
		n, auto = v[:1], true
	}
	n = strings.TrimPrefix(n, "0")
	if n == "" && v != "" {
		n = "0"
	}
	if len(n) != 1 || n[0] < '0' || n[0] > '9' {
		return false
	}
	a.chosen = obd.Bus(n[0] - '0')
	a.search = auto || a.chosen == obd.BusUnknown
	a.linked, a.bus, a.slowest = false, obd.BusUnknown, 0
	a.header = nil
	return true
}

// setHeader is ATSH: three digits for an 11-bit identifier, six for three bytes,
// eight for a whole 29-bit identifier.
func (a *adapter) setHeader(v string) bool {
	if !isHex(v) || (len(v) != 3 && len(v) != 6 && len(v) != 8) {
		return false
	}
	if len(v) == 3 {
		v = "0" + v
	}
	b, err := hex.DecodeString(v)
	if err == nil && len(b) == 4 {
		a.priority, b = b[0], b[1:]
	}
	a.header = b
	return err == nil
}

func (a *adapter) setFilter(v string) bool {
	if (len(v) != 3 && len(v) != 8) || strings.Trim(v, "0123456789ABCDEFX") != "" {
		return false
	}
	a.filter = v
	return true
}

// request sends hexadecimal digits to the car; an odd digit at the end is the number
// of frames after which the adapter stops listening.
func (a *adapter) request(digits string) {
	expect := 0
	if len(digits)%2 == 1 {
		n, err := strconv.ParseUint(digits[len(digits)-1:], 16, 4)
		if err != nil {
			a.done("?")
			return
		}
		expect, digits = int(n), digits[:len(digits)-1]
	}
	payload, err := hex.DecodeString(digits)
	if err != nil || len(payload) == 0 || len(payload) > 7 {
		a.done("?")
		return
	}
	a.connect(func() { a.send(payload, expect) })
}

// searchOrder is the order in which the adapter tries the buses, with the time that a
// vain try takes.
var searchOrder = []struct {
	bus  obd.Bus
	vain time.Duration
}{
	{obd.CAN11at500, 120 * time.Millisecond},
	{obd.CAN29at500, 120 * time.Millisecond},
	{obd.CAN11at250, 120 * time.Millisecond},
	{obd.CAN29at250, 120 * time.Millisecond},
	{obd.PWM, 110 * time.Millisecond},
	{obd.VPW, 130 * time.Millisecond},
	{obd.ISO14230Fast, 400 * time.Millisecond},
	{obd.ISO9141, 2700 * time.Millisecond},
	{obd.ISO14230Slow, 2700 * time.Millisecond},
}

// start returns the time that starting a bus takes: 5 baud sends the address in 2 s
// after 300 ms of rest, then W1 to W4; fast start needs a 50 ms pattern after the same
// rest.
func start(b obd.Bus) time.Duration {
	switch b {
	case obd.ISO9141, obd.ISO14230Slow:
		return 2500 * time.Millisecond
	case obd.ISO14230Fast:
		return 400 * time.Millisecond
	}
	return 0
}

// connect starts the bus if need be, then goes on.
func (a *adapter) connect(then func()) {
	if a.linked {
		then()
		return
	}
	there := func(b obd.Bus) bool { return !a.s.cfg.KeyOff && !a.storm && b == a.s.bus }
	link := func(b obd.Bus) {
		a.bus, a.linked, a.asleep = b, true, false
		a.restedSince = a.s.now
		then()
	}
	if !a.search {
		b := a.chosen
		switch {
		case kLine(b):
			a.print("BUS INIT: ")
			if b != obd.ISO14230Fast {
				a.print("...")
			}
			a.after(start(b), func() {
				if !there(b) {
					a.done("ERROR")
					return
				}
				a.println("OK")
				link(b)
			})
		case b.CAN() && !there(b):
			a.after(100*time.Millisecond, func() { a.done("CAN ERROR") })
		case !there(b):
			a.after(a.timeout, func() { a.done("NO DATA") })
		default:
			link(b)
		}
		return
	}
	a.print("SEARCHING...")
	wait := time.Duration(0)
	try := func(b obd.Bus, vain time.Duration) bool {
		if !there(b) {
			wait += vain
			return false
		}
		a.after(wait+start(b), func() {
			a.print(a.eol())
			link(b)
		})
		return true
	}
	if a.chosen != obd.BusUnknown && try(a.chosen, 300*time.Millisecond) {
		return
	}
	for _, t := range searchOrder {
		if t.bus != a.chosen && try(t.bus, t.vain) {
			return
		}
	}
	a.after(wait, func() {
		a.print(a.eol())
		a.done("UNABLE TO CONNECT")
	})
}

// send puts the request on the bus.
func (a *adapter) send(payload []byte, expect int) {
	begin := max(a.s.now, a.restedSince+gapAfter(a.bus))
	var f frame
	if a.bus.CAN() {
		data := payload
		if a.formatting {
			data = append([]byte{byte(len(payload))}, payload...)
		}
		for a.formatting && len(data) < 8 {
			data = append(data, 0)
		}
		f = frame{data: data}
	} else {
		header := functionalHeader(a.bus, len(payload))
		if len(a.header) == 3 {
			copy(header[:], a.header)
			if kwp(a.bus) {
				header[0] = header[0]&0xC0 | byte(len(payload))
			}
		}
		f = sealed(a.bus, header, payload)
	}
	a.at(begin+wireTime(a.bus, f, true), func() { a.asked(payload, expect) })
}

// asked lets the computers answer a request that has just ended.
func (a *adapter) asked(payload []byte, expect int) {
	a.restedSince = a.s.now
	if a.storm {
		if a.bus.CAN() {
			a.done("CAN ERROR")
		} else {
			a.done("BUS ERROR")
		}
		return
	}
	if a.s.cfg.Tap != nil {
		a.s.cfg.Tap(Traffic{At: a.s.now, Message: slices.Clone(payload)})
	}
	if a.bus.CAN() && !a.formatting {
		// The tester has put the length byte itself.
		n := int(payload[0])
		if n == 0 || n >= len(payload) {
			payload = nil
		} else {
			payload = payload[1 : 1+n]
		}
	}
	x := &transfer{expect: expect, asked: a.s.now}
	a.x = x
	a.arm(x)
	nodes := slices.DeleteFunc(a.addressed(), func(n *node) bool { return a.silent(n, payload) })
	x.remaining = len(nodes)
	if a.bus.CAN() {
		// Each computer answers for itself.
		for i, n := range nodes {
			a.after(a.replyTime()+time.Duration(i)*700*time.Microsecond, func() {
				a.play(x, a.s.messages(n, a.bus, payload), n, func() {})
			})
		}
		return
	}
	// One after the other.
	var turn func(i int)
	turn = func(i int) {
		if i == len(nodes) {
			return
		}
		a.after(a.replyTime(), func() {
			x.remaining--
			a.play(x, a.s.messages(nodes[i], a.bus, payload), nodes[i], func() { turn(i + 1) })
		})
	}
	turn(0)
}

// silent reports whether a computer lets a request pass without a word: values that it does
// not have are another's to tell.
func (a *adapter) silent(n *node, payload []byte) bool {
	return !n.engine && len(payload) > 1 && payload[0] == 0x01 &&
		!slices.ContainsFunc(payload[1:], func(pid byte) bool { return a.s.car.supports(n, pid) })
}

// replyTime is the computers' time to answer, with some scatter.
func (a *adapter) replyTime() time.Duration {
	d := a.s.cfg.Car.reply
	if d == 0 {
		d = UsualReply(a.bus)
	}
	return time.Duration(float64(d) * (0.9 + 0.2*a.s.scatter.Float64()))
}

// addressed returns the computers that the header means.
func (a *adapter) addressed() []*node {
	if a.s.cfg.KeyOff || a.asleep && kLine(a.bus) {
		return nil
	}
	nodes := []*node{&engineNode}
	if a.s.cfg.Car.gearbox {
		nodes = append(nodes, &gearboxNode)
	}
	if a.header == nil {
		return nodes
	}
	keep := nodes[:0]
	for _, n := range nodes {
		h := a.header
		ok := false
		switch {
		case a.bus.IDBits() == 11:
			id := uint32(h[len(h)-2])<<8 | uint32(h[len(h)-1])
			ok = id == 0x7DF || id == n.can-8
		case a.bus.IDBits() == 29 && len(h) == 3:
			ok = h[0] == 0xDB && h[1] == 0x33 || h[0] == 0xDA && h[1] == n.address
		case len(h) == 3:
			ok = h[1] == 0x33 || h[1] == 0x6A || h[1] == n.address
		}
		if ok {
			keep = append(keep, n)
		}
	}
	return keep
}

// play puts a computer's messages on the bus, frame by frame.
func (a *adapter) play(x *transfer, messages [][]byte, n *node, then func()) {
	if a.x != x {
		return
	}
	if len(messages) == 0 {
		then()
		return
	}
	if x.lines == 0 {
		a.slowest = max(a.s.now-x.asked, a.slowest*9/10)
	}
	frames := replyFrames(a.bus, n, messages[0], a.s.cfg.Car.padding)
	var put func(i int)
	put = func(i int) {
		x.armed++ // a frame that has begun is waited for
		a.after(wireTime(a.bus, frames[i], false), func() {
			a.restedSince = a.s.now
			if i+1 == len(frames) && a.s.cfg.Tap != nil {
				from := n.can
				if a.bus.IDBits() != 11 {
					from = uint32(n.address)
				}
				if a.bus.IDBits() == 29 {
					from |= 0x18DAF100
				}
				a.s.cfg.Tap(Traffic{At: a.s.now, From: from, Message: slices.Clone(messages[0])})
			}
			if !a.hear(x, frames[i]) {
				return
			}
			switch {
			case i+1 < len(frames) && i == 0: // the adapter's flow control comes between
				a.after(canWait+wireTime(a.bus, frames[0], true)+time.Millisecond, func() { put(1) })
			case i+1 < len(frames):
				a.after(200*time.Microsecond, func() { put(i + 1) })
			case len(messages) > 1:
				a.after(a.replyTime(), func() { a.play(x, messages[1:], n, then) })
			default:
				then()
			}
		})
	}
	put(0)
}

// hear prints a frame and reports whether the adapter goes on listening.
func (a *adapter) hear(x *transfer, f frame) bool {
	if text, ok := a.format(f); ok {
		a.println(text)
		x.lines++
	}
	if x.expect > 0 && x.lines >= x.expect {
		a.abandon()
		a.prompt()
		return false
	}
	a.arm(x)
	return true
}

// abandon stops listening; on a bus where computers answer in turn, those that have
// yet to do so keep it busy.
func (a *adapter) abandon() {
	if !a.bus.CAN() && a.x.remaining > 0 {
		a.restedSince += time.Duration(a.x.remaining) * (UsualReply(a.bus) + 10*time.Millisecond)
	}
}

// arm starts the time-out anew.
func (a *adapter) arm(x *transfer) {
	x.armed++
	mine := x.armed
	wait := a.timeout
	if a.slowest > 0 {
		switch a.adaptive {
		case 1:
			wait = min(wait, a.slowest*2+20*time.Millisecond)
		case 2:
			wait = min(wait, a.slowest*3/2+8*time.Millisecond)
		}
	}
	a.after(wait, func() {
		switch {
		case a.x != x || x.armed != mine:
		case x.lines == 0:
			a.slowest = 0 // wait in full next time
			a.done("NO DATA")
		default:
			a.prompt()
		}
	})
}

// format writes a frame as the settings say; not ok if a filter drops it.
func (a *adapter) format(f frame) (string, bool) {
	var s strings.Builder
	space := ""
	if a.spaces {
		space = " "
	}
	bytes := func(p []byte) {
		for _, b := range p {
			fmt.Fprintf(&s, "%02X%s", b, space)
		}
	}
	if !a.bus.CAN() {
		p := f.data
		if !a.headers {
			p = p[3 : len(p)-1]
		}
		bytes(p)
		return s.String(), true
	}
	id := fmt.Sprintf("%03X", f.id)
	if a.bus.IDBits() == 29 {
		id = fmt.Sprintf("%08X", f.id)
	}
	if a.filter != "" && !matches(a.filter, id) {
		return "", false
	}
	switch {
	case a.headers && len(id) == 3:
		s.WriteString(id + space)
		bytes(f.data)
	case a.headers:
		raw, _ := hex.DecodeString(id)
		bytes(raw)
		bytes(f.data)
	case !a.formatting:
		bytes(f.data)
	case f.data[0]>>4 == 0:
		bytes(f.data[1 : 1+f.data[0]&0x0F])
	case f.data[0]>>4 == 1:
		fmt.Fprintf(&s, "%X%02X%s0:%s", f.data[0]&0x0F, f.data[1], a.eol(), space)
		bytes(f.data[2:])
	default:
		fmt.Fprintf(&s, "%X:%s", f.data[0]&0x0F, space)
		bytes(f.data[1:])
	}
	return s.String(), true
}

// matches compares an identifier with a filter in which X is any digit.
func matches(filter, id string) bool {
	if len(filter) != len(id) {
		return false
	}
	for i := range len(id) {
		if filter[i] != 'X' && filter[i] != id[i] {
			return false
		}
	}
	return true
}
