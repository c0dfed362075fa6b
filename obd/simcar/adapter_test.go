package simcar

import (
	"context"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"

	"pushback/obd"
)

// TestDialogue walks through the adapter's text protocol. Replies are patterns; \r is
// the end of a line. The protocol is common practice, there is no published standard.
func TestDialogue(t *testing.T) {
	type step struct{ ask, want string }
	for _, c := range []struct {
		name  string
		cfg   Config
		steps []step
	}{
		{"settings", Config{Car: carNamed(t, "healthy")}, []step{
			{"ATZ", `^ATZ\r\r\r` + identity + `\r\r$`},
			{"ati", `^ati\r` + identity + `\r\r$`},
			{"ATE0", `^ATE0\rOK\r\r$`},
			{"ATI", `^` + identity + `\r\r$`},
			{"ATRV", `^14\.1V\r\r$`},
			{"ATL1", `^OK\r\n\r\n$`},
			{"ATL0", `^OK\r\r$`},
			{"ATDPN", `^A0\r\r$`},
			{"ATSP6", `^OK\r\r$`},
			{"ATDPN", `^6\r\r$`},
			{"ATSPA3", `^OK\r\r$`},
			{"ATDPN", `^A3\r\r$`},
			{"ATTP 08", `^OK\r\r$`},
			{"ATSP B", `^\?\r\r$`},
			{"ATST 32", `^OK\r\r$`},
			{"ATST", `^\?\r\r$`},
			{"ATAT2", `^OK\r\r$`},
			{"ATAT3", `^\?\r\r$`},
			{"ATSH 7E0", `^OK\r\r$`},
			{"ATSH 7", `^\?\r\r$`},
			{"ATDP", `^\?\r\r$`}, // not of this dialogue
			{"ATBRD 23", `^\?\r\r$`},
			{"HELLO", `^\?\r\r$`},
			{strings.Repeat("0", 200), `\?\r\r$`},
		}},
		{"search and repeat", Config{Car: carNamed(t, "healthy"), Bus: obd.CAN11at500}, []step{
			{"ATE0", `OK`},
			{"0100", `^SEARCHING\.\.\.\r41 00 (?:[0-9A-F]{2} ){4}\r\r$`},
			{"ATDPN", `^A6\r\r$`},
			{"0105", `^41 05 82 \r\r$`},
			{"", `^41 05 82 \r\r$`},
			{"01 05 1", `^41 05 82 \r\r$`},
			{"ATS0", `OK`},
			{"0105", `^410582\r\r$`},
			{"ATH1", `OK`},
			{"0105", `^7E8034105820{8}\r\r$`},
			{"ATS1", `OK`},
			{"0105", `^7E8 03 41 05 82 00 00 00 00 \r\r$`},
			{"ATSH 7E1", `OK`}, // the gearbox, which this car has not
			{"0105", `^NO DATA\r\r$`},
			{"ATSH 7DF", `OK`},
			{"0902", `^7E8 10 14 49 02 01 50 55 53 \r7E8 21 (.. ){7}\r7E8 22 (.. ){7}\r\r$`},
			{"ATH0", `OK`},
			{"0902", `^014\r0: 49 02 01 50 55 53 \r1: (.. ){7}\r2: (.. ){7}\r\r$`},
			{"0902 1", `^014\r0: 49 02 01 50 55 53 \r\r$`},
			{"01050C0D", `^008\r0: 41 05 82 0C (.. ){2}\r1: 0D 00 00 00 00 00 00 \r\r$`},
			{"03", `^43 00 \r\r$`},
			{"07", `^47 00 \r\r$`},
			{"0A", `^4A 00 \r\r$`},
			{"0900", `^49 00 40 00 00 00 \r\r$`},
			{"01A6", `^NO DATA\r\r$`},
			{"22F190", `^NO DATA\r\r$`},
			{"01 02 03 04 05 06 07 08", `^\?\r\r$`},
		}},
		{"29 bit", Config{Car: carNamed(t, "v-engine"), Bus: obd.CAN29at500}, []step{
			{"ATE0", `OK`}, {"ATH1", `OK`},
			{"0100", `^SEARCHING\.\.\.\r18 DA F1 10 06 41 00 (.. ){5}\r18 DA F1 18 06 41 00 (.. ){5}\r\r$`},
			{"0105", `^18 DA F1 10 03 41 05 82`},
			{"ATSH DA18F1", `OK`},
			{"010C", `^18 DA F1 18 04 41 0C`},
		}},
		{"K-line", Config{Car: carNamed(t, "v-engine"), Bus: obd.ISO9141}, []step{
			{"ATE0", `OK`}, {"ATSP3", `OK`},
			{"0100", `^BUS INIT: \.\.\.OK\r41 00 (.. ){4}\r41 00 (.. ){4}\r\r$`},
			{"ATH1", `OK`},
			{"0105", `^48 6B 10 41 05 82 8B \r\r$`},
			{"0902", `^(48 6B 10 49 02 0[1-5] (.. ){4}.. \r){5}\r$`},
			{"010C0D", `^NO DATA\r\r$`}, // one PID a request
			{"03", `^48 6B 10 43 00 00 00 00 00 00 06 \r48 6B 18 43 00 00 00 00 00 00 0E \r\r$`},
		}},
		{"fast K-line", Config{Car: carNamed(t, "healthy"), Bus: obd.ISO14230Fast}, []step{
			{"ATE0", `OK`}, {"ATSP5", `OK`}, {"ATH1", `OK`},
			{"0105", `^BUS INIT: OK\r83 F1 10 41 05 82 4C \r\r$`},
		}},
		{"J1850", Config{Car: carNamed(t, "healthy"), Bus: obd.VPW}, []step{
			{"ATE0", `OK`}, {"ATSP2", `OK`}, {"ATH1", `OK`},
			{"0105", `^48 6B 10 41 05 82 .. \r\r$`},
		}},
		{"wrong bus", Config{Car: carNamed(t, "healthy"), Bus: obd.CAN11at500}, []step{
			{"ATE0", `OK`},
			{"ATSP3", `OK`}, {"0100", `^BUS INIT: \.\.\.ERROR\r\r$`},
			{"ATSP7", `OK`}, {"0100", `^NO DATA\r\r$`}, // the same wires
			{"ATSP8", `OK`}, {"0100", `^CAN ERROR\r\r$`},
			{"ATSP2", `OK`}, {"0100", `^NO DATA\r\r$`},
			{"ATSPA2", `OK`}, {"0100", `^SEARCHING\.\.\.\r41 00`},
		}},
		{"ignition off", Config{Car: carNamed(t, "healthy"), KeyOff: true}, []step{
			{"ATE0", `OK`}, {"ATRV", `^12\.4V\r\r$`},
			{"0100", `^SEARCHING\.\.\.\rUNABLE TO CONNECT\r\r$`},
		}},
		{"codes", Config{Car: carNamed(t, "vacuum-leak-large"), Bus: obd.CAN11at500}, []step{
			{"ATE0", `OK`},
			{"03", `43 01 01 71 \r\r$`},
			{"0101", `^41 01 81`},
			{"04", `^44 \r\r$`},
			{"03", `^43 00 \r\r$`},
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
}

func TestRefusal(t *testing.T) {
	car := healthy()
	car.refuses = true
	c := newClient(t, Config{Car: car})
	c.ask("ATE0")
	c.ask("0100")
	if got := c.ask("01A6"); got != "7F 01 12 \r\r" {
		t.Errorf("unknown PID: %q", got)
	}
	if got := c.ask("22F190"); got != "7F 22 11 \r\r" {
		t.Errorf("unknown service: %q", got)
	}
}

func TestLoss(t *testing.T) {
	c := newClient(t, Config{Car: healthy(), Loss: 0.2, Seed: 1})
	c.ask("ATE0")
	c.ask("0100")
	lost := 0
	for range 500 {
		switch got := c.ask("0105"); got {
		case "NO DATA\r\r":
			lost++
		case "41 05 82 \r\r":
		default:
			t.Fatalf("%q", got)
		}
	}
	if lost < 70 || lost > 130 { // 100 ± 3.4 standard deviations of the binomial
		t.Errorf("%d of 500 lost, want about 100", lost)
	}
}

func TestInterruption(t *testing.T) {
	c := newClient(t, Config{Car: carNamed(t, "healthy"), Bus: obd.ISO9141})
	c.ask("ATE0")
	c.link.Write([]byte("0100\r"))
	c.sim.Clock().Sleep(t.Context(), time.Second)
	c.link.Write([]byte(" "))
	if got := c.read(); !strings.HasSuffix(got, "STOPPED\r\r") {
		t.Errorf("interrupted: %q", got)
	}
	if got := c.ask("ATI"); got != identity+"\r\r" {
		t.Errorf("afterwards: %q", got)
	}
}

// TestMonitorTrips: the long force makes this car set a pending code, open the loop and
// drop its trim.
func TestMonitorTrips(t *testing.T) {
	c := newClient(t, Config{Car: carNamed(t, "monitor-trips"), Bus: obd.CAN11at500,
		Forces: []Force{{Kind: ForceLean, At: 5 * time.Second, For: 15 * time.Second}}})
	c.ask("ATE0")
	if got := c.ask("07"); !strings.HasSuffix(got, "47 00 \r\r") {
		t.Errorf("before: %q", got)
	}
	c.sim.Clock().Sleep(t.Context(), 22*time.Second)
	for _, s := range []struct{ ask, want string }{
		{"07", "47 01 01 31 \r\r"}, {"0103", "41 03 08 00 \r\r"}, {"0106", "41 06 80 \r\r"},
	} {
		if got := c.ask(s.ask); got != s.want {
			t.Errorf("%s: %q, want %q", s.ask, got, s.want)
		}
	}
}

// TestSampledWhenAnswered: the value in a reply is the computer's at that moment, to
// its refresh.
func TestSampledWhenAnswered(t *testing.T) {
	c := newClient(t, Config{Car: carNamed(t, "healthy"), Bus: obd.CAN11at500, Baud: 115200,
		Forces: []Force{{Kind: ForceLean, At: 10 * time.Second, For: 10 * time.Second}}})
	for _, s := range []string{"ATE0", "ATS0", "0100"} {
		c.ask(s)
	}
	var before, first time.Duration
	for first == 0 && c.sim.Now() < 15*time.Second {
		got := c.ask("01141")
		if strings.HasPrefix(got, "411400") {
			first = c.sim.Now()
		} else {
			before = c.sim.Now()
		}
	}
	begin := c.sim.Truth().Forces[0].Begin
	if begin != 10*time.Second || first < begin || before > begin+50*time.Millisecond || first > begin+80*time.Millisecond {
		t.Errorf("force at %v; last reading without it at %v, first with it at %v", begin, before, first)
	}
}

// TestStart lets the module's own adapter start on every bus, alone and with a second
// computer, by searching and by name.
func TestStart(t *testing.T) {
	for _, name := range []string{"healthy", "v-engine"} {
		for b := obd.PWM; b <= obd.CAN29at250; b++ {
			for _, want := range []obd.Bus{obd.BusUnknown, b} {
				s, err := New(Config{Car: carNamed(t, name), Bus: b, Seed: uint64(b)})
				if err != nil {
					t.Fatal(err)
				}
				a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{})
				id, err := a.Start(t.Context())
				if err != nil || id.Text != identity || id.Voltage != 14.1 {
					t.Fatalf("%v: start: %+v, %v", b, id, err)
				}
				f, err := a.FindBus(t.Context(), want)
				if err != nil || f.Bus != b {
					t.Fatalf("%v: find %v: %+v, %v", b, want, f, err)
				}
				x, err := a.Exchange(t.Context(), obd.Request{Service: 1, Data: []byte{0x05}})
				if err != nil || x.Outcome != obd.OK || len(x.Replies) != 1 || string(x.Replies[0].Data) != "\x41\x05\x82" {
					t.Errorf("%v: exchange: %+v, %v", b, x, err)
				}
				x, err = a.Exchange(t.Context(), obd.Request{Service: 9, Data: []byte{0x02}})
				if err != nil || x.Outcome != obd.OK {
					t.Errorf("%v: VIN: %+v, %v", b, x, err)
				}
				if err := a.Close(t.Context()); err != nil {
					t.Errorf("%v: close: %v", b, err)
				}
			}
		}
	}
}

// FuzzAdapter gives the adapter anything: it must not panic, and must come back to a
// prompt once the line is quiet.
func FuzzAdapter(f *testing.F) {
	for _, s := range []string{"ATZ\r", "0100\r0902\r\r", "ATSP0\r01\r", "ATSH\r", "ATSH7E1\r", "ATE0\r0\r00\rFF\r", "01141\rX", "atsh18db33f1\r0100\r", "\x00\n\r\r", "ATST00\rATAT2\r03\r"} {
		f.Add([]byte(s), uint8(6))
	}
	car, err := Find("v-engine")
	if err != nil {
		f.Fatal(err)
	}
	car.engine.justBegun = true // spares the settling
	f.Fuzz(func(t *testing.T, input []byte, bus uint8) {
		s, err := New(Config{Car: car, Bus: obd.Bus(1 + bus%9), Baud: 115200})
		if err != nil {
			t.Fatal(err)
		}
		l := s.Link()
		if len(input) > 400 {
			input = input[:400]
		}
		for len(input) > 0 { // in pieces, with the adapter working in between
			n := min(len(input), 40)
			l.Write(input[:n])
			input = input[n:]
			s.Clock().Sleep(t.Context(), 20*time.Millisecond)
		}
		l.Write([]byte("\r"))
		s.Clock().Sleep(context.Background(), 15*time.Second)
		l.SetReadDeadline(s.Clock().Now())
		text, _ := io.ReadAll(l)
		if len(text) == 0 || text[len(text)-1] != '>' {
			t.Errorf("no prompt at the end of %q", text)
		}
	})
}
