package poll

import (
	"testing"
	"time"

	"pushback/decode"
)

// Some computers answer the first PIDs of a request and forget the rest. They are not
// asked for more than they answer, and what was forgotten is asked again at once.
func TestForgetfulComputer(t *testing.T) {
	for answers := 1; answers <= 6; answers++ {
		var d decode.Decoder
		if _, err := d.Reply(0x7E8, []byte{1, 0}, []byte{0x41, 0x00, 0xBE, 0x3F, 0xB8, 0x10}, 0, 0, nil); err != nil {
			t.Fatal(err)
		}
		if _, err := d.Reply(0x7E8, []byte{1, 0x13}, []byte{0x41, 0x13, 0x03}, 0, 0, nil); err != nil {
			t.Fatal(err)
		}
		p := plan{can: true, multi: true, pids: map[uint32]*[256]bool{}, noCount: map[string]int{}}
		p.fill(&d, "B1S1")
		read := map[byte]int{}
		now := time.Duration(0)
		for range 400 {
			req, items := p.next(now)
			now += 20 * time.Millisecond
			if req.Service != 1 {
				continue
			}
			got := req.Data[:min(answers, len(req.Data))]
			for _, pid := range got {
				read[pid]++
			}
			p.fell(items, func(it *item) bool {
				for _, pid := range got {
					if pid == it.pid {
						return true
					}
				}
				return false
			}, now)
		}
		for _, pid := range []byte{0x14, 0x15, 0x03, 0x0C, 0x05, 0x07} {
			if read[pid] == 0 {
				t.Errorf("a computer that answers %d PIDs: %02X was never read (%v)", answers, pid, read)
			}
		}
		if read[0x14] < 150 {
			t.Errorf("a computer that answers %d PIDs: the watched sensor was read %d times in 400", answers, read[0x14])
		}
	}
}
