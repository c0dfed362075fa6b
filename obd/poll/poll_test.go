package poll_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// subject is a simulated car on a bus.
type subject struct {
	car string
	bus obd.Bus
}

func (s subject) String() string { return s.car + " " + s.bus.String() }

// subjects are a sound car on each of buses, and one that speaks SAE J1979-2 on those of CAN.
func subjects() (all []subject) {
	for _, bus := range buses() {
		all = append(all, subject{"healthy", bus})
		if bus.CAN() {
			all = append(all, subject{"obd-on-uds", bus})
		}
	}
	return all
}

// open returns the car and a poller that has met it; a share of the replies is lost on the line where one is named.
func (of subject) open(t *testing.T, loss ...float64) (*simcar.Sim, *poll.Poller) {
	t.Helper()
	car, err := simcar.Find(of.car)
	if err != nil {
		t.Fatal(err)
	}
	cfg := simcar.Config{Car: car, Bus: of.bus, Seed: 1}
	for _, share := range loss {
		cfg.Loss = share
	}
	s, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	p, err := poll.Open(t.Context(), obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{}), s.Clock(), poll.Config{Sensor: "B1S1", Bus: of.bus})
	if err != nil {
		t.Fatal(err)
	}
	return s, p
}

// drive polls a simulated car for a while and returns the records, and the periods of the slow
// signals.
func drive(t *testing.T, of subject, d time.Duration) ([]obd.Record, map[string]poll.Period) {
	t.Helper()
	_, p := of.open(t)
	var all []obd.Record
	for len(all) == 0 || all[len(all)-1].At < d {
		r, err := p.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	p.Stop()
	for {
		r, err := p.Next(t.Context())
		if err == io.EOF {
			return all, p.Periods()
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
}

// TestShares: on every bus the watched pair keeps its share, nothing is forgotten, and
// the closing reads end the session.
func TestShares(t *testing.T) {
	for _, of := range subjects() {
		t.Run(of.String(), func(t *testing.T) {
			all, periods := drive(t, of, time.Minute)
			asked := map[byte]int{}
			fast, total := 0, 0
			for i, r := range all {
				x := r.Exchange
				if r.Seq != int64(i) || x.Outcome != obd.OK || r.At < r.Sent || i > 0 && r.At < all[i-1].At {
					t.Fatalf("record %d: %+v", i, x)
				}
				total++
				watched := false
				for _, pid := range x.Request.Data {
					asked[pid]++
					watched = watched || pid == 0x14 || pid == 0x06
				}
				if watched {
					fast++
				}
			}
			if share := float64(fast) / float64(total); share < 0.67 { // discovery counts as other
				t.Errorf("the watched pair has %.0f %% of the exchanges", 100*share)
			}
			last, round := map[byte]time.Duration{}, 10*time.Second // until then each is read once
			for _, r := range all {
				for _, pid := range r.Exchange.Request.Data {
					within := periods[obd.Request{Service: 1, Data: []byte{pid}}.Hex()].Within
					if waited := r.At - max(last[pid], round); last[pid] > 0 && within > 0 && waited > within {
						t.Errorf("PID %02X was not read for %v at %v; its deadline is %v", pid, waited, r.At, within)
					}
					last[pid] = r.At
				}
			}
			for _, pid := range []byte{0x15, 0x03, 0x0C, 0x04, 0x05, 0x07, 0x01, 0x06} {
				p := periods[obd.Request{Service: 1, Data: []byte{pid}}.Hex()]
				if pid == 0x01 && of.car == "obd-on-uds" { // which has no F401
					continue
				}
				if p.Every == 0 || p.Within < p.Every || float64(asked[pid]) < 60/p.Within.Seconds()-1 {
					t.Errorf("PID %02X was read %d times in a minute, period %v", pid, asked[pid], p)
				}
			}
			if n := len(all); all[n-2].Exchange.Request.Hex() != "07" || all[n-1].Exchange.Request.Hex() != "03" {
				t.Errorf("ends with %s, %s", all[n-2].Exchange.Request.Hex(), all[n-1].Exchange.Request.Hex())
			}
		})
	}
}

// car is a scripted adapter and car on 11-bit CAN: PIDs 03 06 0C 13 14, one PID a request.
type car struct {
	*obdtest.Fake
	off    bool
	silent bool
	trim   byte // PID 06
	with   byte // second byte of PID 14
}

func newCar() *car {
	c := &car{}
	c.Fake = obdtest.NewFake(c.answer)
	return c
}

func (c *car) answer(line string) (string, time.Duration) {
	const ms = time.Millisecond
	if c.silent {
		return "", 0
	}
	hex := func(b byte) string { const d = "0123456789ABCDEF"; return string([]byte{d[b>>4], d[b&15]}) }
	text := map[string]string{
		"ATZ": "INTERFACE v1.5", "ATI": "INTERFACE v1.5", "ATE0": "OK", "ATE1": "OK", "ATM0": "OK", "ATL0": "OK", "ATS0": "OK", "ATH1": "OK",
		"ATAT1": "OK", "ATRV": "12.6V", "ATDPN": "A6", "ATTP0": "OK", "ATTP6": "OK",
	}[line]
	if text != "" {
		return text + "\r\r>", ms
	}
	if c.off {
		return "NO DATA\r\r>", 200 * ms
	}
	if c.trim++; c.trim > 0x90 {
		c.trim = 0x70
	}
	switch line {
	case "0100", "01001":
		text = "7E80641002410300000"
	case "0113", "01131":
		text = "7E80341130100000000"
	case "0103", "01031":
		text = "7E80441030200000000"
	case "0106", "01061":
		text = "7E8034106" + hex(c.trim) + "00000000"
	case "010C", "010C1":
		text = "7E804410C0BC7000000"
	case "0114", "01141":
		text = "7E80441145A" + hex(c.trim-c.with) + "000000"
	case "03", "07", "031", "071":
		text = "7E802" + map[string]string{"03": "4300", "07": "4700"}[line[:2]] + "0000000000"
	default:
		return "?\r\r>", ms
	}
	return text + "\r\r>", 10 * ms
}

// line is one opening of the car's port: closing an old one leaves a new one open.
type line struct{ *obdtest.Fake }

func (line) Close() error { return nil }

func (c *car) open(t *testing.T, cfg poll.Config) *poll.Poller {
	t.Helper()
	p, err := poll.Open(t.Context(), obd.NewAdapter(line{c.Fake}, c.Fake, obd.AdapterOptions{}), c.Fake, cfg)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func next(t *testing.T, p *poll.Poller) obd.Record {
	t.Helper()
	r, err := p.Next(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestTrimByte: PID 06 is left to its slow round only when the sensor's own trim byte
// agrees with it.
func TestTrimByte(t *testing.T) {
	for _, c := range []struct {
		name string
		with byte
		most int // readings of PID 06 in the last 200 records
		min  int
	}{{"agrees", 0, 20, 0}, {"differs", 9, 200, 60}} {
		t.Run(c.name, func(t *testing.T) {
			car := newCar()
			car.with = c.with
			p := car.open(t, poll.Config{Sensor: "B1S1"})
			n := 0
			for i := range 400 {
				r := next(t, p)
				if i >= 200 && r.Exchange.Request.Hex() == "0106" {
					n++
				}
			}
			if n > c.most || n < c.min {
				t.Errorf("PID 06 was read %d times", n)
			}
		})
	}
}

func TestMarks(t *testing.T) {
	car := newCar()
	p := car.open(t, poll.Config{})
	var last time.Duration
	for range 20 {
		last = next(t, p).At
	}
	p.Mark(obd.Mark{Kind: obd.MarkLean})
	p.Mark(obd.Mark{Kind: obd.MarkStop})
	r := next(t, p)
	if r.Mark == nil || r.Mark.Kind != obd.MarkLean || r.At < last {
		t.Fatalf("%+v", r)
	}
	if r = next(t, p); r.Mark == nil || r.Mark.Kind != obd.MarkStop {
		t.Fatalf("%+v", r)
	}
	next(t, p) // 07
	next(t, p) // 03
	if _, err := p.Next(t.Context()); err != io.EOF {
		t.Fatal(err)
	}
}

func TestLinkLost(t *testing.T) {
	t.Run("comes back", func(t *testing.T) {
		car := newCar()
		tries := 0
		p := car.open(t, poll.Config{Reopen: func(context.Context) (obd.Link, error) {
			if tries++; tries < 4 {
				return nil, errors.New("no such port")
			}
			car.Plug()
			return line{car.Fake}, nil
		}})
		for range 20 {
			next(t, p)
		}
		car.Unplug()
		for range 4 { // the exchange that failed and three attempts
			if x := next(t, p).Exchange; x.Outcome != obd.LinkLost {
				t.Fatalf("%+v", x)
			}
		}
		if x := next(t, p).Exchange; x.Outcome != obd.OK {
			t.Fatalf("%+v", x)
		}
	})
	t.Run("stays away", func(t *testing.T) {
		car := newCar()
		p := car.open(t, poll.Config{Reopen: func(context.Context) (obd.Link, error) { return nil, errors.New("no such port") }})
		for range 20 {
			next(t, p)
		}
		car.Unplug()
		began := car.Now()
		err := until(t, p)
		if took := car.Now().Sub(began); !errors.Is(err, obd.ErrLinkLost) || took < 19*time.Second || took > 25*time.Second {
			t.Fatalf("%v after %v", err, took)
		}
		if _, again := p.Next(t.Context()); again != err {
			t.Fatalf("then %v", again)
		}
	})
	t.Run("mark while away", func(t *testing.T) {
		car := newCar()
		var p *poll.Poller
		p = car.open(t, poll.Config{Reopen: func(context.Context) (obd.Link, error) {
			p.Mark(obd.Mark{Kind: obd.MarkNote, Text: "cable"})
			return nil, errors.New("no such port")
		}})
		for range 20 {
			next(t, p)
		}
		car.Unplug()
		next(t, p)
		began := car.Now()
		if r := next(t, p); r.Mark == nil || car.Now().Sub(began) > time.Second {
			t.Fatalf("%+v after %v", r, car.Now().Sub(began))
		}
	})
}

// until polls until Next fails.
func until(t *testing.T, p *poll.Poller) error {
	t.Helper()
	for range 1000 {
		if _, err := p.Next(t.Context()); err != nil {
			return err
		}
	}
	t.Fatal("goes on without an answer")
	return nil
}

func TestCarOff(t *testing.T) {
	car := newCar()
	p := car.open(t, poll.Config{})
	for range 20 {
		next(t, p)
	}
	car.off = true
	began := car.Now()
	if err := until(t, p); !errors.Is(err, obd.ErrNoVehicle) {
		t.Fatal(err)
	}
	if took := car.Now().Sub(began); took < 19*time.Second || took > 30*time.Second {
		t.Errorf("gave up after %v", took)
	}
}

func TestAdapterSilent(t *testing.T) {
	car := newCar()
	p := car.open(t, poll.Config{})
	for range 20 {
		next(t, p)
	}
	car.silent = true
	if err := until(t, p); !errors.Is(err, obd.ErrNoAdapter) {
		t.Fatal(err)
	}
}

func TestNoCar(t *testing.T) {
	car := newCar()
	car.off = true
	_, err := poll.Open(t.Context(), obd.NewAdapter(line{car.Fake}, car.Fake, obd.AdapterOptions{}), car.Fake, poll.Config{})
	if !errors.Is(err, obd.ErrNoVehicle) {
		t.Fatal(err)
	}
}

func TestCancelled(t *testing.T) {
	car := newCar()
	p := car.open(t, poll.Config{})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := p.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
}

// TestTwice: on CAN the sensor is asked for twice in a frame where the car answers that, and
// once where it stops doing so.
func TestTwice(t *testing.T) {
	share := func(all []obd.Record, hex string) float64 {
		n := 0
		for _, r := range all {
			if r.Exchange != nil && r.Exchange.Request.Hex() == hex {
				n++
			}
		}
		return float64(n) / float64(len(all))
	}
	all, _ := drive(t, subject{"healthy", obd.CAN11at500}, 20*time.Second)
	if s := share(all, "011414"); s < 0.5 {
		t.Errorf("011414 is %.0f %% of the requests", 100*s)
	}
	all, _ = drive(t, subject{"healthy", obd.VPW}, 20*time.Second)
	if s := share(all, "011414"); s > 0 {
		t.Errorf("011414 is %.0f %% of the requests on a bus of one PID a request", 100*s)
	}

	car := newCar()
	usual, once := car.Answer, false
	car.Answer = func(line string) (string, time.Duration) {
		const ms = time.Millisecond
		switch {
		case once || len(line) < 6 || line[:2] != "01":
		case line[:6] == "010C0C":
			return "7E807410C0BC70C0BC7\r\r>", 10 * ms
		case line[:6] == "011414":
			return "7E80741145A80145A80\r\r>", 10 * ms
		case line[:6] == "010C03":
			return "7E807410C0BC7030200\r\r>", 10 * ms
		}
		if once && line == "" {
			line = "?"
		}
		if len(line) > 6 && line[:2] == "01" {
			return "NO DATA\r\r>", 10 * ms
		}
		return usual(line)
	}
	p := car.open(t, poll.Config{Sensor: "B1S1"})
	readings := func() (all []obd.Record) {
		for range 200 {
			all = append(all, next(t, p))
		}
		return all
	}
	readings()
	once = true
	readings()
	if all := readings(); share(all, "011414") > 0 || share(all, "0114")+share(all, "0106") < 0.4 {
		t.Errorf("011414 is %.0f %%, 0114 %.0f %%, 0106 %.0f %%", 100*share(all, "011414"), 100*share(all, "0114"), 100*share(all, "0106"))
	}
}

// TestDialogue checks every line that is sent from the first to the last.
func TestDialogue(t *testing.T) {
	car := newCar()
	a := obd.NewAdapter(car.Fake, car.Fake, obd.AdapterOptions{})
	p, err := poll.Open(t.Context(), a, car.Fake, poll.Config{Sensor: "B1S1"})
	if err != nil {
		t.Fatal(err)
	}
	for range 12 {
		next(t, p)
	}
	p.Stop()
	next(t, p)
	next(t, p)
	if err := a.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"AT", "ATZ", "ATE1", "ATM0", "ATL0", "ATS0", "ATH1", "ATAT1", "ATI", "AT", "ATRV", // the adapter
		"ATTP6", "0100", "01001", // the bus, and whether a count is taken
		"0100", "01131", "01031", "03", "07", // what the car offers
		"010C0C1", "AT", "010C031", "AT", // neither twice nor packed; AT after each "?"
		"01141", "01061", "01141", "01031", "01061",
		"07", "03", "ATZ",
	}
	if d := cmp.Diff(want, car.Lines); d != "" {
		t.Error(d)
	}
}

// TestStopWhileAway: Stop does not wait for the end of an attempt to go on.
func TestStopWhileAway(t *testing.T) {
	car := newCar()
	c := &stopper{Clock: car.Fake}
	p, err := poll.Open(t.Context(), obd.NewAdapter(line{car.Fake}, c, obd.AdapterOptions{}), c, poll.Config{})
	if err != nil {
		t.Fatal(err)
	}
	for range 20 {
		next(t, p)
	}
	car.silent = true
	c.at, c.stop = car.Now().Add(4*time.Second), p.Stop
	for err == nil {
		_, err = p.Next(t.Context())
	}
	if late := car.Now().Sub(c.at); err != io.EOF || late < 0 || late > time.Second {
		t.Errorf("%v, %v after Stop", err, late)
	}
}

// stopper is a clock that calls stop at a time.
type stopper struct {
	obd.Clock
	at   time.Time
	stop func()
}

func (c *stopper) Now() time.Time {
	now := c.Clock.Now()
	if c.stop != nil && !now.Before(c.at) {
		stop := c.stop
		c.stop = nil
		stop()
	}
	return now
}

// TestLossDoesNotLast: replies that get lost now and then do not change how the rest is asked.
func TestLossDoesNotLast(t *testing.T) {
	for _, of := range []subject{{"healthy", obd.CAN11at500}, {"healthy", obd.VPW}, {"obd-on-uds", obd.CAN11at500}} {
		_, p := of.open(t, 0.02)
		var all []obd.Record
		for range 3000 {
			all = append(all, next(t, p))
		}
		counted, sensor := 0, 0
		for _, r := range all[2000:] {
			if r.Exchange.Request.Expect > 0 {
				counted++
			}
			if d := r.Exchange.Request.Data; len(d) > 0 && d[0] == 0x14 {
				sensor++
			}
		}
		if counted < 980 || sensor < 650 {
			t.Errorf("%v: of 1000 requests %d have a count, %d are of the sensor", of, counted, sensor)
		}
	}
}

// TestAwait: while an answer is awaited the pair has nearly all of the bus, and fuel status
// and the sensor behind the catalyst are still read; it ends by itself.
func TestAwait(t *testing.T) {
	for _, of := range subjects() {
		t.Run(of.String(), func(t *testing.T) {
			s, p := of.open(t)
			share := func(d time.Duration) (pair float64, asked map[byte]int) {
				asked = map[byte]int{}
				n := 0
				for end := s.Now() + d; s.Now() < end; n++ {
					x := next(t, p).Exchange
					if x == nil {
						continue
					}
					for _, pid := range x.Request.Data {
						asked[pid]++
					}
				}
				return float64(asked[0x14]) / float64(n), asked
			}
			share(40 * time.Second)
			p.Mark(obd.Mark{Kind: obd.MarkLean})
			if pair, asked := share(25 * time.Second); pair < 0.97 || asked[0x03] < 2 || asked[0x15] < 2 {
				t.Errorf("awaited: the pair has %.1f %% of the requests, status %d, behind the catalyst %d", 100*pair, asked[0x03], asked[0x15])
			}
			p.Await(false)
			if _, asked := share(15 * time.Second); asked[0x05] == 0 || asked[0x04] == 0 || asked[0x15] < 4 {
				t.Errorf("then: %v", asked)
			}
			p.Await(true)
			share(31 * time.Second)
			if _, asked := share(15 * time.Second); asked[0x05] == 0 || asked[0x04] == 0 || asked[0x15] < 4 {
				t.Errorf("it does not end: %v", asked)
			}
		})
	}
}

// buses are all that there are, or, where a short test is asked for, a slow and a fast one.
func buses() (all []obd.Bus) {
	if testing.Short() {
		return []obd.Bus{obd.ISO9141, obd.CAN11at500}
	}
	for bus := obd.PWM; bus <= obd.CAN29at250; bus++ {
		all = append(all, bus)
	}
	return all
}
