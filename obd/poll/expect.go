package poll

import (
	"pushback/decode"
	"pushback/obd"
)

// doubles tells whether a PID fits twice into one CAN frame.
func (p *plan) doubles(service, pid byte) bool {
	n := decode.PIDLength(pid)
	return service == 0x01 && n > 0 && 1+2*(p.dialect.IDBytes()+n) <= 7
}

// expect returns how many lines will answer, 0 when that is not certain.
func (p *plan) expect(req obd.Request) int {
	if p.unsure || p.noCount[req.Hex()] >= maxMisses {
		return 0
	}
	if req.Service != 0x01 {
		return p.codes[req.Hex()]
	}
	lines := 0
	for _, addr := range p.car.Computers() {
		n, more := 1, 0
		for _, pid := range req.Data {
			if !p.car.SupportedBy(addr, pid) {
				continue
			}
			size := decode.PIDLength(pid)
			if size == 0 {
				return 0
			}
			n += p.dialect.IDBytes() + size
			if p.car.Supports(0x1D) && decode.TwoBanked(pid) {
				more++
			}
		}
		if p.can && frames(n) != frames(n+more) {
			return 0
		}
		if n > 1 { // else it is silent
			lines += frames(n)
		}
	}
	return lines
}

// frames is how many lines a reply of n bytes takes: one message, or CAN frames by ISO 15765-2,
// 7 bytes in one, or 6 in the first and 7 in each that follows.
func frames(n int) int {
	if n <= 7 {
		return 1
	}
	return 1 + (n-6+6)/7
}

// counted learns from an exchange for trouble codes how many lines answer it: one of each
// computer, as long as it has no more codes than a line may hold. It reports whether there may
// be more than the count let through; then the request is to be made again, without.
func (p *plan) counted(x *obd.Exchange) (again bool) {
	whole := x.Outcome == obd.OK
	for _, r := range x.Replies {
		if p.can { // one frame
			whole = whole && len(r.Data) <= 7
		} else { // three codes; zeros fill it up
			whole = whole && len(r.Data) == 7 && r.Data[5] == 0 && r.Data[6] == 0
		}
	}
	switch n := x.Request.Expect; {
	case whole && n == 0:
		p.codes[x.Request.Hex()] = len(x.Replies)
	case !whole || n != len(x.Replies):
		delete(p.codes, x.Request.Hex())
		return n > 0
	}
	return false
}
