package poll

import (
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
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
		p := plan{can: true, multi: true, car: &d, noCount: map[string]int{}, codes: map[string]int{}}
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

// TestCounted: the count of lines that answer a request for codes is taken from one that
// was waited out, and given up when there may be more.
func TestCounted(t *testing.T) {
	reply := func(from uint32, data ...byte) obd.Reply { return obd.Reply{From: from, Data: data} }
	none, three := []byte{0x47, 0, 0, 0, 0, 0, 0}, []byte{0x47, 1, 0x31, 1, 0x33, 1, 0x34}
	for _, c := range []struct {
		name    string
		can     bool
		expect  int
		outcome obd.Outcome
		replies []obd.Reply
		again   bool
		then    int // the count of the next
	}{
		{"two computers without codes", true, 0, obd.OK, []obd.Reply{reply(0x7E8, 0x47, 0), reply(0x7E9, 0x47, 0)}, false, 2},
		{"more than a frame", true, 0, obd.OK, []obd.Reply{reply(0x7E8, 0x47, 3, 1, 0x31, 1, 0x33, 1, 0x34)}, false, 0},
		{"as counted", true, 1, obd.OK, []obd.Reply{reply(0x7E8, 0x47, 1, 1, 0x31)}, false, 1},
		{"cut by the count", true, 1, obd.Garbled, nil, true, 0},
		{"a computer is away", true, 2, obd.OK, []obd.Reply{reply(0x7E8, 0x47, 0)}, true, 0},
		{"K-line, none", false, 0, obd.OK, []obd.Reply{reply(0x10, none...)}, false, 1},
		{"K-line, three, perhaps more", false, 1, obd.OK, []obd.Reply{reply(0x10, three...)}, true, 0},
	} {
		p := plan{can: c.can, codes: map[string]int{"07": c.expect}, noCount: map[string]int{}}
		again := p.counted(&obd.Exchange{Request: obd.Request{Service: 0x07, Expect: c.expect}, Outcome: c.outcome, Replies: c.replies})
		if then := p.expect(obd.Request{Service: 0x07}); again != c.again || then != c.then {
			t.Errorf("%s: again %v, then %d", c.name, again, then)
		}
	}
}

// TestStraysNowhere: of what is packed for cars that have nearly all there is, no stretch is a request that
// changes something, with any count of replies behind it, and all is read.
func TestStraysNowhere(t *testing.T) {
	for _, dialect := range []obd.Dialect{obd.J1979, obd.J1979v2} {
		for _, layout := range [][2]byte{{0x13, 0x33}, {0x1D, 0xFF}} {
			var d decode.Decoder
			for base := byte(0); base <= 0x60; base += 0x20 {
				bits := []byte{0x41, base, 0xFF, 0xFF, 0xFF, 0xFF}
				if base == 0 && layout[0] == 0x13 {
					bits[5] = 0xF7 // it has not both ways to tell its sensors
				}
				if _, err := d.Reply(0x7E8, []byte{1, base}, bits, 0, 0, nil); err != nil {
					t.Fatal(err)
				}
			}
			if _, err := d.Reply(0x7E8, []byte{1, layout[0]}, []byte{0x41, layout[0], layout[1]}, 0, 0, nil); err != nil {
				t.Fatal(err)
			}
			p := plan{can: true, multi: true, dialect: dialect, car: &d, noCount: map[string]int{}, codes: map[string]int{}}
			p.fill(&d, "B1S1")
			asked, packed := map[byte]bool{}, 0
			for i := range 3000 {
				now := time.Duration(i) * 20 * time.Millisecond
				if i%500 == 250 {
					p.announce(obd.MarkRelease, now)
				}
				req, _ := p.next(now)
				if req.Service != 0x01 {
					continue
				}
				for _, pid := range req.Data {
					asked[pid] = true
				}
				if len(req.Data) < 2 {
					continue
				}
				packed++
				words, _ := dialect.Words(req)
				for _, count := range []string{"", "1", "2", "3", "4", "5", "6", "7", "8", "9"} {
					if obd.Strays(words+count, dialect == obd.J1979v2) {
						t.Fatalf("%v: a stretch of %s%s changes something", dialect, words, count)
					}
				}
			}
			for _, it := range p.items {
				if it.service == 0x01 && !asked[it.pid] {
					t.Errorf("%v: %02X was not asked", dialect, it.pid)
				}
			}
			if packed < 2500 {
				t.Errorf("%v: only %d of 3000 were packed", dialect, packed)
			}
		}
	}
}
