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

func (a *Adapter) refuse(x *Exchange) error {
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
