package poll_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// dialect changes what the scripted car's adapter prints.
func dialect(change func(line, text string) string) func(*car) {
	return func(c *car) {
		usual := c.Answer
		c.Answer = func(line string) (string, time.Duration) {
			text, after := usual(line)
			return change(line, text), after
		}
	}
}

// refuse makes the adapter not know commands.
func refuse(commands ...string) func(*car) {
	return dialect(func(line, text string) string {
		if slices.Contains(commands, line) {
			return "?\r\r>"
		}
		return text
	})
}

// spaced puts blanks between the bytes of frames, as adapters do unless told not to.
func spaced(text string) string {
	lines := strings.Split(text, "\r")
	for i, l := range lines {
		if !strings.HasPrefix(l, "7E") {
			continue
		}
		out := l[:3]
		for l = l[3:]; len(l) >= 2; l = l[2:] {
			out += " " + l[:2]
		}
		lines[i] = out + " "
	}
	return strings.Join(lines, "\r")
}

// TestAdapters: sessions run on genuine and on poor adapters. Each is named by what it does.
func TestAdapters(t *testing.T) {
	searched := false
	resets := 0
	for _, c := range []struct {
		name  string
		make  func(*car)
		quirk string // part of one that is told
		bad   int    // records of the first 100 that may be other than ok
	}{
		{"as it should be", func(*car) {}, "", 0},
		{"linefeeds cannot be switched off", func(c *car) {
			refuse("ATL0")(c)
			dialect(func(_, text string) string { return strings.ReplaceAll(text, "\r", "\r\n") })(c)
		}, "refuses ATL0", 0},
		{"spaces cannot be switched off", func(c *car) {
			refuse("ATS0")(c)
			dialect(func(_, text string) string { return spaced(text) })(c)
		}, "refuses ATS0", 0},
		{"refuses all but the bus", refuse("ATE1", "ATM0", "ATL0", "ATS0", "ATAT1", "ATRV", "ATI"), "refuses ATAT1", 0},
		{"headers cannot be switched on", func(c *car) {
			refuse("ATH1")(c)
			dialect(func(_, text string) string {
				if strings.HasPrefix(text, "7E80") {
					return text[5:5+2*int(text[4]-'0')] + "\r\r>"
				}
				return text
			})(c)
		}, "refuses ATH1", 0},
		{"strews NULs", dialect(func(_, text string) string { return strings.ReplaceAll(text, "4", "\x004\x00") }), "", 0},
		{"prompt without a return before it", dialect(func(_, text string) string { return strings.Replace(text, "\r\r>", "\r>", 1) }), "", 0},
		{"prompt on the line of the reply", dialect(func(_, text string) string { return strings.Replace(text, "\r\r>", ">", 1) }), "", 0},
		{"blank behind the prompt", dialect(func(_, text string) string { return strings.Replace(text, ">", "> ", 1) }), "", 0},
		{"loses what comes within 5 ms of its prompt", func(c *car) { c.Slow = 5 * time.Millisecond }, "too soon after its prompt", 0},
		{"loses what comes within 30 ms of its prompt", func(c *car) { c.Slow = 30 * time.Millisecond }, "too soon after its prompt", 0},
		{"has no name", dialect(func(line, text string) string {
			if line == "ATI" || line == "ATZ" {
				return "\r\r>"
			}
			return text
		}), "", 0},
		{"has an odd name", dialect(func(line, text string) string {
			if line == "ATI" {
				return "\xffOBD\tThing\x07 vX>"
			}
			return text
		}), "", 0},
		{"does not answer a reset", dialect(func(line, text string) string {
			if line == "ATZ" {
				return ""
			}
			return text
		}), "no answer to ATZ", 0},
		{"takes no count of replies", dialect(func(line, text string) string {
			if len(line) == 5 && !strings.HasPrefix(line, "AT") {
				return "?\r\r>"
			}
			return text
		}), "number of replies", 0},
		{"does not repeat on a return", dialect(func(line, text string) string {
			if line == "" {
				return "\r>"
			}
			return text
		}), "does not repeat", 0},
		{"speaks while it searches", dialect(func(line, text string) string {
			if line == "0100" && !searched {
				searched = true
				return "SEARCHING...\r" + text
			}
			return text
		}), "", 0},
		{"speaks on the line of the reply", dialect(func(line, text string) string {
			if line == "0100" {
				return "BUS INIT: ...OK\r" + text
			}
			return text
		}), "", 0},
		{"starts anew on low voltage", dialect(func(line, text string) string {
			if line == "0103" || line == "01031" {
				if resets++; resets == 2 {
					return "LV RESET\r\r>"
				}
			}
			return text
		}), "", 1},
		{"several computers in any order", func(c *car) {
			usual := c.Answer
			c.Answer = func(line string) (string, time.Duration) {
				second := map[string]string{"0100": "7E906410000100000AA\r", "010C": "7E904410C0BC0AAAAAA\r"}[line[:min(4, len(line))]]
				count := line[min(4, len(line)):]
				if second == "" || count == "1" {
					return usual(line)
				}
				text, after := usual(line[:4])
				if line[:4] == "0100" {
					return second + text, after
				}
				return strings.Replace(text, "\r\r>", "\r"+second+"\r>", 1), after
			}
		}, "", 0},
		{"replies of others in between", dialect(func(line, text string) string {
			if strings.HasPrefix(line, "0114") {
				return "7EA037F0112AAAAAA00\r" + text
			}
			return text
		}), "", 0},
		{"late replies in between", dialect(func(line, text string) string {
			if strings.HasPrefix(line, "0114") {
				return "7E8034106FF00000000\r" + text
			}
			return text
		}), "", 0},
		{"prints what it wants when it starts", func(c *car) { c.Print("\x00\xfe7E80441145A\r>\r?>", 0) }, "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			car := newCar()
			last := "" // a return alone repeats
			usual := car.Answer
			car.Answer = func(line string) (string, time.Duration) {
				if line == "" {
					line = last
				}
				last = line
				return usual(line)
			}
			c.make(car)
			p := car.open(t, poll.Config{Sensor: "B1S1"})
			bad, readings := 0, 0
			var d decode.Decoder
			for range 100 {
				x := next(t, p)
				if len(x.Request.Data) > 1 {
					continue // this car answers one PID a request
				}
				if x.Outcome != obd.OK {
					bad++
					t.Logf("%s: %v %q", x.Request.Hex(), x.Outcome, x.Raw)
					continue
				}
				for _, r := range x.Replies {
					samples, _ := d.Reply(r.From, x.Request.Bytes(), r.Data, x.Sent, x.At, nil)
					for _, s := range samples {
						switch s.Signal.Name {
						case "O2S11":
							readings++
							if s.Value != 0.45 { // 5A
								t.Errorf("voltage %v from %q", s.Value, x.Raw)
							}
						case "RPM":
							if s.Value < 752 || s.Value > 754 { // 0BC7, 0BC0
								t.Errorf("rpm %v from %q", s.Value, x.Raw)
							}
						}
					}
				}
			}
			if bad > c.bad || readings < 20 {
				t.Errorf("%d readings, %d bad records; lines %q", readings, bad, car.Lines[:min(60, len(car.Lines))])
			}
			quirks := strings.Join(p.Vehicle().Identity.Quirks, "; ")
			if c.quirk == "" && quirks != "" || !strings.Contains(quirks+strings.Join(p.Quirks(), "; "), c.quirk) {
				t.Errorf("quirks %q", quirks)
			}
			for _, line := range car.Lines {
				if strings.HasPrefix(line, "04") && !strings.ContainsAny(line, "XAT") {
					t.Errorf("sent %q", line)
				}
			}
		})
	}
}

// TestNoEcho: an adapter without echo gets no request that could become another on its way, and
// what else there is to read is read.
func TestNoEcho(t *testing.T) {
	car := newCar()
	usual := car.Answer
	car.Answer = func(line string) (string, time.Duration) {
		switch line {
		case "0100":
			return "7E8064100FFFFFFF600\r\r>", time.Millisecond
		case "0113":
			return "7E80341130300000000\r\r>", time.Millisecond
		}
		if strings.HasPrefix(line, "01") && len(line) == 4 {
			return "7E80441" + line[2:] + "5A80000000\r\r>", time.Millisecond
		}
		return usual(line)
	}
	car.Deaf = true
	p := car.open(t, poll.Config{Sensor: "B1S2"})
	asked := map[string]int{}
	for range 600 {
		asked[next(t, p).Exchange.Request.Hex()]++
	}
	for _, line := range car.Lines {
		if !strings.HasPrefix(line, "AT") && obd.Risky(line) {
			t.Errorf("sent %q", line)
		}
	}
	if asked["0115"] < 100 || asked["0103"] == 0 || asked["0114"]+asked["0104"] > 0 {
		t.Errorf("asked %v", asked)
	}
}

// FuzzStart: whatever an adapter answers at start-up and after, there is no panic, no hang,
// and no request to clear codes.
func FuzzStart(f *testing.F) {
	f.Add([]byte("OK\r\r>"), []byte("7E8064100BE3FB81300\r\r>"), uint16(0))
	f.Add([]byte("?\r>"), []byte("SEARCHING...\rUNABLE TO CONNECT\r\r>"), uint16(3))
	f.Add([]byte(">>\x00>"), []byte("7E8104100BE3FB8\r7E8211300\r>"), uint16(5))
	f.Add([]byte("AT\r\nOK\r\n>"), []byte("BUS INIT: ...OK\r486B104100BE3FB81304\r>"), uint16(1))
	f.Add([]byte(""), []byte(""), uint16(7))
	f.Fuzz(func(t *testing.T, command, reply []byte, cut uint16) {
		if len(command)+len(reply) > 4096 {
			return
		}
		n := uint16(0)
		fake := obdtest.NewFake(func(line string) (string, time.Duration) {
			n++
			text := command
			if !strings.HasPrefix(line, "AT") {
				text = reply
			}
			if cut > 0 && n%cut == 0 {
				text = text[:len(text)/2]
			}
			return string(text), time.Millisecond
		})
		began := fake.Now()
		p, err := poll.Open(t.Context(), obd.NewAdapter(fake, fake, obd.AdapterOptions{}), fake, poll.Config{})
		if err == nil {
			for range 20 {
				if _, err := p.Next(t.Context()); err != nil {
					break
				}
			}
		}
		if took := fake.Now().Sub(began); took > 20*time.Minute {
			t.Fatalf("took %v", took)
		}
		for _, line := range fake.Lines {
			if strings.HasPrefix(line, "04") && !strings.ContainsAny(line, "XAT") {
				t.Fatalf("sent %q", line)
			}
		}
	})
}

// TestSerialSpeeds: sessions run at all speeds that adapters have.
func TestSerialSpeeds(t *testing.T) {
	car, err := simcar.Find("healthy")
	if err != nil {
		t.Fatal(err)
	}
	for _, baud := range []int{9600, 19200, 38400, 230_400, 2_000_000} {
		for _, bus := range []obd.Bus{obd.CAN11at500, obd.ISO14230Fast} {
			s, err := simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1, Baud: baud})
			if err != nil {
				t.Fatal(err)
			}
			p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(), poll.Config{Sensor: "B1S1"})
			if err != nil {
				t.Fatalf("%d baud, %v: %v", baud, bus, err)
			}
			for range 60 {
				if x := next(t, p).Exchange; x.Outcome != obd.OK {
					t.Errorf("%d baud, %v: %s: %v %q", baud, bus, x.Request.Hex(), x.Outcome, x.Raw)
				}
			}
			if q := p.Quirks(); len(q) > 0 {
				t.Errorf("%d baud, %v: quirks %q", baud, bus, q)
			}
		}
	}
}
