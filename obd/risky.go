package obd

import "errors"

// ErrNotRead refuses a request that is not one of the services that only read: 04
// erases codes and learned values, 08 moves parts of the car.
var ErrNotRead = errors.New("request does more than read")

// Sends tells whether the request may be sent to this adapter at all, and has words in the
// car's dialect.
func (a *Adapter) Sends(req Request) bool {
	text, ok := a.format.Dialect.Words(req)
	return ok && a.sends(text)
}

func (a *Adapter) sends(text string) bool { return !a.noEcho || !Risky(text) }

func (a *Adapter) refuse(x *Record) error {
	a.quirk("no echo: a request that could turn into another on its way is not sent")
	x.Outcome = NoData
	return nil
}

// Risky tells whether a request's text could become one that changes something in the car, if
// any of its characters were lost: whether some two digits in order name a service that does.
func Risky(text string) bool {
	for i := range text {
		for j := i + 1; j < len(text); j++ {
			if Changes(hexDigit(text[i])<<4|hexDigit(text[j]), (len(text)-j-1)/2) {
				return true
			}
		}
	}
	return false
}

// Changes tells whether a request of this service with so many bytes behind it may change
// something: 04 (clear codes), which takes none, and with at least one 08 (control of
// on-board systems) and what ISO 14229-1 and 14230-3 define beside SAE J1979: 10 session, 11 reset,
// 14 clear, 27 security access, 28 communication off, 2E write, 2F control, 31 routine, 34 to 37
// transfer, 3D write memory, 85 codes off, 87 link, … Of these ranges 19, 22 and 3E (tester
// present), and 1A, 2A and 3A, change nothing (ranges from memory).
func Changes(service, data int) bool {
	switch {
	case service == 0x04:
		return true
	case data == 0 || service&0x0F == 0x0A:
		return false
	case service == 0x19, service == 0x22, service == 0x3E:
		return false
	}
	return service == 0x08 || 0x10 <= service && service < 0x40 || 0x80 <= service && service < 0x90
}

// Takes tells whether a unit does what a message says that may change something: by the lengths and
// parameters that ISO 14229-1 defines (from memory), or with maker by those that it leaves to the
// car's maker. All others it must refuse (7F with 12, 13 or 31) or ignore. Of single codes to be
// cleared it is taken for granted that no unit has them.
func Takes(m []byte, maker bool) bool {
	if len(m) < 2 {
		return len(m) == 1 && m[0] == 0x04
	}
	sub := m[1] & 0x7F // the highest bit wants no answer
	defined := func(last byte, length int) bool {
		return len(m) >= length && (1 <= sub && sub <= last || maker && 0x40 <= sub && sub < 0x7F)
	}
	sized := func(m []byte, length int) bool { // how many bytes tell address and size, then these
		return len(m) > 0 && m[0]&0x0F > 0 && m[0]>>4 > 0 && len(m)-1 >= int(m[0]&0x0F+m[0]>>4)+length
	}
	switch m[0] {
	case 0x10: // session: 01 is the usual one
		return len(m) == 2 && sub != 1 && defined(4, 2)
	case 0x11: // reset
		return len(m) == 2 && defined(5, 2)
	case 0x14: // a group, of which FF.... is all or the emission-related codes
		return len(m) >= 4 && m[1] == 0xFF && m[2] == 0xFF
	case 0x27: // security access
		return defined(0x42, 2)
	case 0x28: // communication off
		return sub == 0 && len(m) >= 3 || defined(5, 3)
	case 0x29: // authentication
		return defined(8, 2)
	case 0x2C: // an identifier made of others
		return defined(3, 4)
	case 0x2E: // identifier and data
		return len(m) >= 4
	case 0x2F: // identifier, then return, reset, freeze or adjust
		return len(m) >= 4 && m[3] <= 3
	case 0x31: // start, stop or result of a routine
		return len(m) >= 4 && 1 <= sub && sub <= 3
	case 0x34, 0x35: // download, upload
		return sized(m[2:], 0)
	case 0x36: // transfer, and its end
		return true
	case 0x38: // a file, by the length of its name
		return len(m) >= 5 && defined(6, 5)
	case 0x3D: // write memory
		return sized(m[1:], 1)
	case 0x84: // any, secured
		return len(m) >= 8
	case 0x85: // codes off
		return defined(2, 2)
	case 0x86: // answers on events
		return defined(0x47, 3)
	case 0x83, 0x87: // timing, baud
		return defined(4, 2)
	case 0x08: // a test, with its data (SAE J1979)
		return true
	}
	return false
}

// Strays tells whether some stretch of a line is a message that a unit [Takes]: a line that puts
// earlier characters in again can make a request of any of them. A last odd digit is the number of
// replies. 04 (clear codes) is one only at the end, where nothing follows.
func Strays(line string, maker bool) bool {
	var m [16]byte
	for i := range line {
		n := 0
		for j := i; j+1 < len(line) && n < len(m); j += 2 {
			m[n] = byte(hexDigit(line[j])<<4 | hexDigit(line[j+1]))
			n++
			if (n > 1 || len(line)-j <= 3) && Takes(m[:n], maker) && !(i == 0 && n*2 >= len(line)-1) {
				return true
			}
		}
	}
	return false
}
