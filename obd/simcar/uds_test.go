package simcar

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"pushback/decode/dissector"
	"pushback/obd"
)

// TestUDSDialogue walks through SAE J1979-2 as the adapter prints it. Layouts by the bench
// tests published for its sister standard J1979-3, traces of vehicles, ISO 14229-1 and
// ISO 27145 as dissectors quote them; the freeze frame and F6xx from memory.
func TestUDSDialogue(t *testing.T) {
	type step struct{ ask, want string }
	short, long := carNamed(t, "obd-on-uds"), carNamed(t, "obd-on-uds-long")
	udsLong := *long.uds
	udsLong.pending = 0
	long.uds = &udsLong
	broken := short
	broken.control.stored = []uint16{0x0171}
	for _, c := range []struct {
		name  string
		cfg   Config
		steps []step
	}{
		{"11 bit", Config{Car: short}, []step{
			{"ATE0", `OK`}, {"ATH1", `OK`}, {"ATS0", `OK`},
			{"0100", `^SEARCHING\.\.\.\rUNABLE TO CONNECT\r\r$`}, // a search asks by the old service
			{"ATSP6", `OK`},
			{"0100", `^NO DATA\r\r$`},
			{"0902", `^NO DATA\r\r$`},
			{"22F810", `^7E80462F81001.*\r\r$`},      // J1979-3 6.6.1
			{"22F400", `^7E80762F4003E3FB813\r\r$`},  // no F401
			{"22F40C", `^7E80562F40C.{4}`},           // as in 62 F4 0C 0B ED of a van
			{"22F40C1", `^7E80562F40C.{4}0000\r\r$`}, // a count of frames after it
			{"22F40CF405F406", `^7E8100B62F40C.{4}F4\r7E8210582F406.{2}.*\r\r$`},
			{"22F414F4A6", `^7E80562F414.{4}.*\r\r$`}, // what is not supported is left out
			{"22F4A6", `^NO DATA\r\r$`},               // to all: silence
			{"22F4", `^7E8037F2213`},                  // but not on a wrong length
			{"2ED00100", `^NO DATA\r\r$`},
			{"22F802", `^7E8101462F802505553\r7E821.{14}\r7E822.{14}\r\r$`}, // 20 bytes: no count before the VIN
			{"22F800", `^7E80762F80054410000`},
			{"194233FF1E", `^7E806594233FFE204`}, // none: positive
			{"195533", `^7E805595533FF04`},
			{"19563301", `^7E81012595633FF0401\r7E82101010000011600\r`},
			{"19563302", `^NO DATA`},
			{"1902FF", `^NO DATA`},
			{"14FFFF33", `^7E8037F1422`}, // the engine runs
			{"1001", `^7E8065001003201F4`},
			{"3E80", `^NO DATA\r\r$`},
			{"3E00", `^7E8027E00`},
			{"ATSH7E0", `OK`},
			{"22F4A6", `^7E8037F2231`},
			{"2F1234", `^7E8037F2F11`},
			{"0100", `^NO DATA\r\r$`}, // most are silent by their own address too
		}},
		{"29 bit", Config{Car: long}, []step{
			{"ATE0", `OK`}, {"ATH1", `OK`}, {"ATS0", `OK`}, {"ATSP7", `OK`},
			{"22F810", `^NO DATA\r\r$`}, // as a van was met without it
			{"22F400", `^18DAF1100762F400BE3FB813\r18DAF1590762F40080180000\r\r$`},
			{"22F40CF405", `^18DAF110037F2213`},
			{"195533", `^18DAF1101009595533FF0404\r(.*\r)?18DAF110215600A8`},
			{"194233FF1E", `^18DAF110100B594233FFE204\r(.*\r)?18DAF1102122045600A8`},
			{"190404560000", `^18DAF1101`},
			{"ATSHDA10F1", `OK`},
			{"0100", `^18DAF110037F0111`},
			{"190404560001", `^18DAF110037F1931`},
		}},
		{"codes", Config{Car: broken, Stopped: true}, []step{
			{"ATE0", `OK`}, {"ATH1", `OK`}, {"ATS0", `OK`}, {"ATSP6", `OK`},
			{"194233FF02", `^7E8100B594233FFE204\r7E82122017100A8`},
			{"19423304FF", `^7E8065942`}, // none failed in this cycle
			{"190401710000", `^7E810`},
			{"14FFFF33", `^7E80154`},
			{"194233FFFF", `^7E806594233FFE204`},
			{"19563301", `7E8.{4}013350|7E821.*50`},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cl := newClient(t, c.cfg)
			for _, s := range c.steps {
				if got := cl.ask(s.ask); !regexp.MustCompile(s.want).MatchString(got) {
					t.Errorf("%s: %q, want %s", s.ask, got, s.want)
				}
			}
		})
	}
	if _, err := New(Config{Car: short, Bus: obd.VPW}); err == nil {
		t.Error("SAE J1979-2 on a J1850 bus")
	}
}

// TestUDSPending: an answer announced by 7F xx 78 follows late. An adapter that has stopped
// listening prints it under the next request; one that waits prints both.
func TestUDSPending(t *testing.T) {
	car := carNamed(t, "obd-on-uds")
	car.uds = &udsSpec{most: 6, pending: 1, late: [2]time.Duration{time.Second, time.Second}}
	c := newClient(t, Config{Car: car, Bus: obd.CAN11at500})
	for _, s := range []string{"ATE0", "ATH1", "ATS0", "ATSP6", "ATAT0"} {
		c.ask(s)
	}
	if got := c.ask("22F4051"); got != "7E8037F227800000000\r\r" {
		t.Errorf("at first: %q", got)
	}
	c.sim.Clock().Sleep(t.Context(), 900*time.Millisecond)
	if got := c.ask("22F40C"); !strings.HasPrefix(got, "7E8037F2221") || !strings.Contains(got, "\r7E80462F40582") {
		t.Errorf("busy, then the late answer under another request: %q", got)
	}
	c.ask("22F405")
	c.sim.Clock().Sleep(t.Context(), 3*time.Second)
	if got := c.ask("22F40C"); strings.Contains(got, "F405") {
		t.Errorf("an answer that nobody heard: %q", got)
	}

	c = newClient(t, Config{Car: car, Bus: obd.CAN11at500, Patient: true})
	for _, s := range []string{"ATE0", "ATH1", "ATS0", "ATSP6"} {
		c.ask(s)
	}
	if got := c.ask("22F4051"); !strings.HasPrefix(got, "7E8037F2278") || !strings.Contains(got, "\r7E80462F40582") {
		t.Errorf("a patient adapter: %q", got)
	}
}

// TestUDSSameData: an identifier F400 + n carries the bytes of PID n, whatever else differs.
func TestUDSSameData(t *testing.T) {
	sim, err := New(Config{Car: carNamed(t, "obd-on-uds"), Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	c := sim.car
	n := 0
	for pid := 2; pid < 0x60; pid++ {
		old := c.answer(&engineNode, true, []byte{0x01, byte(pid)})
		neu := c.uds(&engineNode, []byte{0x22, 0xF4, byte(pid)})
		if old == nil {
			if !bytes.Equal(neu, []byte{0x7F, 0x22, 0x31}) {
				t.Errorf("F4%02X: %X", pid, neu)
			}
			continue
		}
		n++
		if !bytes.Equal(neu[3:], old[0][2:]) {
			t.Errorf("F4%02X: %X, PID: %X", pid, neu, old[0])
		}
	}
	if n < 20 {
		t.Errorf("only %d", n)
	}
	// The second unit's engine speed lacks the factor of four.
	a, b := c.uds(&engineNode, []byte{0x22, 0xF4, 0x0C}), c.uds(&secondNode, []byte{0x22, 0xF4, 0x0C})
	x, y := float64(a[3])*256+float64(a[4]), float64(b[3])*256+float64(b[4])
	if math.Abs(x/4-y) > 1 {
		t.Errorf("%v quarters, %v", x, y)
	}
}

// TestUDSDissected: an analyser of other people's takes what the car answers for what it is
// meant to be.
func TestUDSDissected(t *testing.T) {
	if testing.Short() {
		t.Skip("asks another program")
	}
	if !dissector.Available() {
		t.Skip("tshark is not installed")
	}
	car := carNamed(t, "obd-on-uds")
	car.control.stored = []uint16{0x0171}
	sim, err := New(Config{Car: car, Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	asked := []string{"22F400", "22F40C", "22F414", "22F601", "22F802", "22F810", "22F4A6", "194233FF1E", "195533", "19563301", "190401710000", "14FFFF33", "1001", "3E00", "2F1234"}
	var messages []dissector.Message
	for _, a := range asked {
		request, err := hex.DecodeString(a)
		if err != nil {
			t.Fatal(err)
		}
		reply := sim.car.uds(&engineNode, request)
		m := dissector.Message{Data: reply}
		for _, f := range replyFrames(obd.CAN11at500, &engineNode, reply, car.padding) {
			m.Frames = append(m.Frames, dissector.Frame{ID: f.id, Data: f.data})
		}
		messages = append(messages, m)
	}
	all, err := dissector.DissectUDS(messages)
	if err != nil {
		t.Fatal(err)
	}
	for i, u := range all {
		data := fmt.Sprintf("%X", messages[i].Data)
		service := "0x" + strings.ToLower(asked[i][:2])
		switch {
		case !u.Reply:
			t.Errorf("%s: not a reply: %+v", asked[i], u)
		case data[:2] == "7F":
			if u.Refused != service || u.Code != "0x"+strings.ToLower(data[4:6]) {
				t.Errorf("%s: refused %+v", asked[i], u)
			}
		case u.Service != service:
			t.Errorf("%s: service %s", asked[i], u.Service)
		case asked[i][:2] == "22" && (u.ID != "0x"+strings.ToLower(asked[i][2:]) || u.Record != data[6:]):
			t.Errorf("%s: %+v", asked[i], u)
		case asked[i][:2] == "19" && (u.Sub != "0x"+asked[i][2:4] || u.Record != data[4:]):
			t.Errorf("%s: %+v", asked[i], u)
		}
	}
}
