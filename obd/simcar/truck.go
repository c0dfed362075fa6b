package simcar

import (
	"encoding/binary"
	"fmt"
	"strings"
	"time"

	"pushback/obd"
)

// Others are vehicles that no test of an oxygen sensor reaches, because they speak another language or none.
func Others() []Car {
	truck := healthy()
	truck.Name = "heavy-duty"
	truck.About = "A heavy-duty vehicle: on a CAN bus of 250 kbit/s its units talk to each other as SAE J1939 has it, and nobody answers a question of SAE J1979 or J1979-2."
	truck.Expect, truck.Bus, truck.heavyDuty = "not_ready", obd.CAN29at250, true
	mute := healthy()
	mute.Name = "nobody-answers"
	mute.About = "A CAN bus of 500 kbit/s takes what is sent, and nobody answers in either dialect: an electric car, or a gateway that lets nobody ask."
	mute.Expect, mute.mute = "not_ready", true
	return []Car{truck, mute}
}

// broadcast is what a unit of SAE J1939-71 and -73 says by itself: identifier, how often, and its eight bytes
// (periods of 61444, 65262, 65265 and 65226 as published; values invented).
type broadcast struct {
	id    uint32
	every time.Duration
	data  [8]byte
}

var broadcasts = []broadcast{
	{0x0CF00400, 20 * time.Millisecond, [8]byte{0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF}}, // engine speed, 600 rpm
	{0x18FEF100, 100 * time.Millisecond, [8]byte{0xFF, 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}},      // vehicle speed
	{0x18FEEE00, time.Second, [8]byte{0x82, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}},           // coolant, 90 °C
	{0x18FECA00, time.Second, [8]byte{0x00, 0xFF, 0x00, 0x00, 0x00, 0x00, 0xFF, 0xFF}},           // no code
}

// monitor is ATMA: what passes on the bus is printed until any character comes.
func (a *adapter) monitor() {
	if !a.s.cfg.Car.heavyDuty || a.s.cfg.KeyOff || a.current() != a.s.bus {
		return
	}
	for i, b := range broadcasts {
		var say func()
		say = func() {
			text := fmt.Sprintf("% X ", b.data)
			if a.headers {
				text = fmt.Sprintf("% X ", binary.BigEndian.AppendUint32(nil, b.id)) + text
			}
			if !a.spaces {
				text = strings.ReplaceAll(text, " ", "")
			}
			a.println(text)
			a.after(b.every, say)
		}
		a.after(time.Duration(i+1)*7*time.Millisecond, say)
	}
}
