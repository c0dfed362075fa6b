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

// identity is what the adapter says of itself.
const identity = "simulated adapter of pushback"

// configure executes an AT command, given without the letters AT. There are those that a
// tester of the loop needs; anything else is not known.
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
	case "I":
		a.done(identity)
	case "MA":
		a.monitor()
	case "RV":
		if a.s.cfg.KeyOff {
			a.done("12.4V")
		} else {
			a.done("14.1V")
		}
	case "DPN":
		number := fmt.Sprintf("%X", int(a.current()))
		if a.search {
			number = "A" + number
		}
		a.done(number)
	default:
		if a.set(c) {
			a.done("OK")
		} else {
			a.done("?")
		}
	}
}

// restart is what power-up and ATZ do.
func (a *adapter) restart() {
	a.setBaud(a.s.cfg.Baud)
	a.settings = defaults()
	if a.stored == "" {
		a.stored = "0"
	}
	a.setBus(a.stored)
	a.last = ""
	a.busy = true
	a.after(600*time.Millisecond, func() {
		a.print(a.eol() + a.eol())
		a.done(identity)
	})
}

// changeBaud is ATBRD: 4 MHz divided by a number of two digits. OK comes at the old
// speed, the name at the new one; without a return at the new speed within 75 ms the
// old one is restored.
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

// set executes an AT command that is answered by OK, and reports whether there is
// such a command.
func (a *adapter) set(c string) bool {
	for _, p := range []struct {
		prefix string
		do     func(v string) bool
	}{
		{"M", func(v string) bool { return v == "0" }},
		{"E", onOff(&a.echo)},
		{"L", onOff(&a.linefeeds)},
		{"ST", a.setTimeout},
		{"SH", a.setHeader},
		{"SP", func(v string) bool {
			ok := a.setBus(v)
			if ok {
				a.stored = v
			}
			return ok
		}},
		{"TP", a.setBus},
		{"S", onOff(&a.spaces)},
		{"H", onOff(&a.headers)},
		{"CAF", func(v string) bool {
			a.raw = v == "0"
			return v == "0" || v == "1"
		}},
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

// onOff returns a setter by 1 and 0.
func onOff(flag *bool) func(string) bool {
	return func(v string) bool {
		if v != "0" && v != "1" {
			return false
		}
		*flag = v == "1"
		return true
	}
}

// setTimeout is ATST: two digits, steps of 4 ms; 00 is the usual one.
func (a *adapter) setTimeout(v string) bool {
	n, err := strconv.ParseUint(v, 16, 8)
	if err != nil || len(v) != 2 {
		return false
	}
	if n == 0 {
		n = 50
	}
	a.timeout = time.Duration(n) * 4 * time.Millisecond
	return true
}

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

// setHeader is ATSH: three digits for an 11-bit identifier, six for the three bytes of a
// header, or the last three of a 29-bit identifier.
func (a *adapter) setHeader(v string) bool {
	if len(v) == 3 {
		v = "0" + v
	}
	b, err := hex.DecodeString(v)
	if err != nil || len(b) != 2 && len(b) != 3 {
		return false
	}
	a.header = b
	return true
}
