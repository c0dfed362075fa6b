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
	most := 7
	if a.raw && a.current().CAN() {
		most = 8
	}
	if err != nil || len(payload) == 0 || len(payload) > most {
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
	there := func(b obd.Bus) bool { return a.there(b, a.search) }
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
		case b.CAN() && !there(b) && !a.acknowledged(b):
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
		if !a.raw {
			data = append([]byte{byte(len(payload))}, payload...)
		}
		for len(data) < 8 {
			data = append(data, 0)
		}
		payload = single(data)
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

// single returns the message in a frame, none unless it is a single one (ISO 15765-2).
func single(data []byte) []byte {
	n := int(data[0])
	if n == 0 || n >= len(data) {
		return nil
	}
	return data[1 : 1+n]
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
	if a.s.cfg.Tap != nil && len(payload) > 0 {
		a.s.cfg.Tap(Traffic{At: a.s.now, Message: slices.Clone(payload)})
	}
	x := &transfer{expect: expect, asked: a.s.now}
	a.x = x
	a.arm(x)
	nodes := slices.DeleteFunc(a.addressed(), func(n *node) bool { return len(payload) == 0 || a.silent(n, payload) })
	x.remaining = len(nodes)
	if a.bus.CAN() {
		// Each computer answers for itself.
		for i, n := range nodes {
			a.after(a.replyTime()+time.Duration(i)*700*time.Microsecond, func() {
				a.play(x, a.s.messages(n, a.bus, a.functional(), payload), n, func() {})
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
			a.play(x, a.s.messages(nodes[i], a.bus, a.functional(), payload), nodes[i], func() { turn(i + 1) })
		})
	}
	turn(0)
}

// silent reports whether a computer lets a request pass without a word: values that it does
// not have are another's to tell.
func (a *adapter) silent(n *node, payload []byte) bool {
	return !n.engine && a.s.cfg.Car.uds == nil && len(payload) > 1 && payload[0] == 0x01 &&
		!slices.ContainsFunc(payload[1:], func(pid byte) bool { return a.s.car.tells(n, pid) })
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
	if a.s.cfg.KeyOff || a.asleep && kLine(a.bus) || a.s.cfg.Car.heavyDuty || a.s.cfg.Car.mute {
		return nil
	}
	nodes := []*node{&engineNode}
	if a.s.cfg.Car.gearbox {
		nodes = append(nodes, &gearboxNode)
	}
	if u := a.s.cfg.Car.uds; u != nil && u.second {
		nodes = append(nodes, &secondNode)
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

// functional reports whether the header means all computers.
func (a *adapter) functional() bool {
	h := a.header
	return h == nil || a.bus.IDBits() == 11 && slices.Equal(h[len(h)-2:], []byte{0x07, 0xDF}) ||
		a.bus.IDBits() == 29 && len(h) == 3 && h[0] == 0xDB && h[1] == 0x33
}

// play puts a computer's messages on the bus, frame by frame.
func (a *adapter) play(x *transfer, messages []message, n *node, then func()) {
	if x == nil || a.x != x {
		return
	}
	if len(messages) == 0 {
		then()
		return
	}
	if late := messages[0].late; late > 0 {
		// It comes whatever the adapter does by then, and is heard under what is asked by then.
		messages[0].late = 0
		a.onBus = append(a.onBus, event{a.s.now + late, func() { a.play(a.x, messages, n, then) }})
		return
	}
	if x.lines == 0 {
		a.slowest = max(a.s.now-x.asked, a.slowest*9/10)
	}
	frames := replyFrames(a.bus, n, messages[0].data, a.s.cfg.Car.padding)
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
				a.s.cfg.Tap(Traffic{At: a.s.now, From: from, Message: slices.Clone(messages[0].data)})
			}
			if i+1 == len(frames) && len(messages) > 1 && messages[1].late > 0 {
				a.play(x, messages[1:], n, func() {})
				messages = messages[:1]
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
	a.println(a.format(f))
	x.lines++
	pending := a.bus.CAN() && len(f.data) >= 4 && f.data[1] == negative && f.data[3] == pendingAnswer
	switch {
	case pending && a.s.cfg.Patient:
		x.lines--
		x.patience = a.s.now + 5*time.Second
	case x.expect > 0 && x.lines >= x.expect:
		a.abandon()
		a.prompt()
		return false
	default:
		x.patience = 0
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
	a.after(max(wait, x.patience-a.s.now), func() {
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

// format writes a frame as the settings say.
func (a *adapter) format(f frame) string {
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
		return s.String()
	}
	id := fmt.Sprintf("%03X", f.id)
	if a.bus.IDBits() == 29 {
		id = fmt.Sprintf("%08X", f.id)
	}
	switch {
	case a.headers && len(id) == 3:
		s.WriteString(id + space)
		bytes(f.data)
	case a.headers:
		raw, _ := hex.DecodeString(id)
		bytes(raw)
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
	return s.String()
}
