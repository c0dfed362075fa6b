package main

import (
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"pushback/decode"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// Steady state begins when the second byte of the sensor's PID has been checked against
// the trim's own PID.
const (
	settling  = 30 * time.Second
	measuring = 2 * time.Minute
)

var speedBuses = []obd.Bus{
	obd.CAN11at500, obd.CAN29at500, obd.CAN11at250, obd.CAN29at250,
	obd.ISO14230Fast, obd.ISO9141, obd.VPW, obd.PWM,
}

// speedTable prints how often the watched pair is read.
func speedTable(ctx context.Context) error {
	fmt.Println("The watched pair (sensor voltage and short-term trim), readings a second.")
	fmt.Println("ideal: nothing but the pair, by the bus's timing, the computer's mean reply time and the serial line.")
	fmt.Println("awaited: while the answer to a force or a release is awaited; slow signals get 2.2 % of the requests.")
	fmt.Println("at rest: ideal is what the slow signals leave of it, where each takes a request of its own: 30 % at the most,")
	fmt.Println("less where they can all be read as often as is wanted. deadlines: the longest time between two readings of")
	fmt.Println("any of them, in its deadline; 1.00 is just kept.")
	fmt.Println("bus use: the ideal time of every exchange made over the time taken.")
	fmt.Println("plain: one PID a request, the adapter's own time-outs, no count of replies, the same slow signals.")
	for _, baud := range []int{38400, 115200} {
		rows := [][]string{{fmt.Sprintf("bus, %d baud", baud), "ideal", "awaited", "share", "bus use",
			"at rest: ideal", "ours", "share", "bus use", "deadlines", "plain", "rest/plain", "raised", "awaited", "share"}}
		for _, bus := range speedBuses {
			forced, err := measure(ctx, plainCar, bus, baud, 0, true)
			if err != nil {
				return fmt.Errorf("%v: %w", bus, err)
			}
			rest, err := measure(ctx, plainCar, bus, baud, 0, false)
			if err != nil {
				return fmt.Errorf("%v: %w", bus, err)
			}
			plain, err := plainRate(bus, baud, rest.periods)
			if err != nil {
				return fmt.Errorf("%v: plain client: %w", bus, err)
			}
			raised, err := measure(ctx, plainCar, bus, baud, 500_000, true)
			if err != nil {
				return fmt.Errorf("%v: %w", bus, err)
			}
			rows = append(rows, []string{
				bus.String(), fmt.Sprintf("%.2f", forced.ideal), fmt.Sprintf("%.2f", forced.rate), percent(forced.rate / forced.ideal), percent(forced.use),
				fmt.Sprintf("%.2f", rest.ideal), fmt.Sprintf("%.2f", rest.rate), percent(rest.rate / rest.ideal), percent(rest.use),
				fmt.Sprintf("%.2f", rest.late),
				fmt.Sprintf("%.2f", plain), fmt.Sprintf("%.1f ×", rest.rate/plain),
				fmt.Sprint(raised.baud), fmt.Sprintf("%.2f", raised.rate), percent(raised.rate / raised.ideal),
			})
		}
		fmt.Println()
		grid(rows)
	}
	for _, t := range []struct {
		title string
		of    subject
		buses []obd.Bus
	}{
		{"V engine, 38400 baud", vEngine, speedBuses},
		{"wide-range, 38400 baud", wideCar, speedBuses},
		{"J1979-2, 38400 baud", secondCar, speedBuses[:4]},
	} {
		if err := watchedTable(ctx, t.title, t.of, t.buses); err != nil {
			return err
		}
	}
	return nil
}

// watchedTable prints how often what is watched of one car is read.
func watchedTable(ctx context.Context, title string, of subject, buses []obd.Bus) error {
	rows := [][]string{{title, "ideal", "awaited", "share", "at rest: ideal", "ours", "share", "deadlines"}}
	for _, bus := range buses {
		forced, err := measure(ctx, of, bus, 38400, 0, true)
		if err != nil {
			return fmt.Errorf("%v: %w", bus, err)
		}
		rest, err := measure(ctx, of, bus, 38400, 0, false)
		if err != nil {
			return fmt.Errorf("%v: %w", bus, err)
		}
		rows = append(rows, []string{bus.String(), fmt.Sprintf("%.2f", forced.ideal), fmt.Sprintf("%.2f", forced.rate), percent(forced.rate / forced.ideal),
			fmt.Sprintf("%.2f", rest.ideal), fmt.Sprintf("%.2f", rest.rate), percent(rest.rate / rest.ideal), fmt.Sprintf("%.2f", rest.late)})
	}
	fmt.Println()
	grid(rows)
	return nil
}

func percent(x float64) string { return fmt.Sprintf("%.1f %%", 100*x) }

// speed is what a session reached.
type speed struct {
	ideal, rate float64 // of the pair, 1/s
	use         float64 // of the bus, 1 is ideal
	baud        int     // of the serial line in the end
	late        float64 // longest time between two readings of a slow signal, in its deadline
	periods     map[string]poll.Period
}

var pair, pairReply = []byte{0x01, 0x14}, []byte{0x41, 0x14, 0x5A, 0x80}

// subject is a car, and what of it is read as often as the bus allows.
type subject struct {
	car     string
	pids    []byte
	dialect obd.Dialect
}

// plainCar has one bank and four sensors, vEngine two banks, and says its sensors by PID 1D.
// Of wideCar λ, trim and the commanded ratio are watched; secondCar speaks J1979-2.
var (
	plainCar  = subject{car: "healthy", pids: []byte{0x14}}
	vEngine   = subject{car: "v-engine", pids: []byte{0x14}}
	wideCar   = subject{car: "wide-range", pids: []byte{0x34, 0x06, 0x44}}
	secondCar = subject{car: "obd-on-uds", pids: []byte{0x14}, dialect: obd.J1979v2}
)

// ideal is the shortest time in which all that is watched can be read: on CAN by one request again
// and again, elsewhere by one for each in turn.
func (s subject) ideal(bus obd.Bus, baud int) time.Duration {
	requests := [][]byte{s.pids}
	if !bus.CAN() {
		requests = slices.Collect(slices.Chunk(s.pids, 1))
	}
	var all time.Duration
	for _, pids := range requests {
		req := obd.Request{Service: 1, Data: pids}
		reply := []byte{0x41}
		if s.dialect == obd.J1979v2 {
			reply = []byte{0x62}
		}
		for _, pid := range pids {
			if s.dialect == obd.J1979v2 {
				reply = append(reply, 0xF4)
			}
			reply = append(append(reply, pid), make([]byte, decode.PIDLength(pid))...)
		}
		all += simcar.Ideal(bus, baud, simcar.UsualReply(bus), s.words(req), reply, len(requests) == 1)
	}
	return all
}

// words are the bytes of a request as the car is asked.
func (s subject) words(req obd.Request) []byte {
	text, _ := s.dialect.Words(req)
	b, _ := hex.DecodeString(text)
	return b
}

// slowShare is how much of the bus slow signals may take where each needs a request of its own.
const slowShare = 0.3

// atRest sets what the bus allows at rest, by timing and periods alone. On CAN slow signals
// travel with others: nothing is taken off.
func (s *speed) atRest(bus obd.Bus) {
	if bus.CAN() {
		return
	}
	wanted := 0.0
	for text, period := range s.periods {
		req, _ := obd.ParseRequest(text)
		request := req.Bytes()
		reply := append([]byte{req.Service + 0x40}, req.Data...)
		if req.Service == 0x01 {
			reply = append(reply, make([]byte, decode.PIDLength(req.Data[0]))...)
		} else {
			reply = append(reply, make([]byte, 6)...) // three codes
		}
		wanted += simcar.Ideal(bus, s.baud, simcar.UsualReply(bus), request, reply, false).Seconds() / period.Every.Seconds()
	}
	s.ideal *= 1 - min(wanted, slowShare)
}

// measure runs our own session.
func measure(ctx context.Context, of subject, bus obd.Bus, baud, maxBaud int, awaited bool) (speed, error) {
	sim, err := newCar(of.car, bus, baud, maxBaud)
	if err != nil {
		return speed{}, err
	}
	link := sim.Link()
	a := obd.NewAdapter(link, sim.Clock(), obd.AdapterOptions{MaxBaud: maxBaud})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: "B1S1", Bus: bus})
	if err != nil {
		return speed{}, err
	}
	s := speed{baud: link.(obd.BaudSetter).Baud()}
	s.ideal = 1 / of.ideal(bus, s.baud).Seconds()
	var begin, end, useful time.Duration
	pairs := 0
	last := ""
	asked := map[string]time.Duration{} // when last, by request of one
	longest := map[string]time.Duration{}
	for end < settling+measuring {
		if awaited && end >= settling-time.Second {
			p.Await(true)
		}
		r, err := p.Next(ctx)
		if err != nil {
			return speed{}, err
		}
		x := r.Exchange
		text := fmt.Sprint(x.Request.Hex(), x.Request.Expect)
		repeated := text == last
		last, end = text, r.At
		for _, one := range singles(x.Request) {
			if r.At >= settling {
				longest[one] = max(longest[one], r.At-asked[one])
			}
			asked[one] = r.At
		}
		if r.At < settling {
			begin = r.At
			continue
		}
		if x.Outcome != obd.OK {
			return speed{}, fmt.Errorf("%s: %v", x.Request.Hex(), x.Outcome)
		}
		request := of.words(x.Request)
		reply := x.Replies[0].Data
		if d := x.Request.Data; len(d) == 2 && d[0] == d[1] { // the value came twice
			reply = append(append([]byte(nil), reply...), reply[1:]...)
		}
		useful += simcar.Ideal(bus, s.baud, simcar.UsualReply(bus), request, reply, repeated)
		if slices.Contains(x.Request.Data, of.pids[0]) {
			pairs++
		}
	}
	s.rate = float64(pairs) / (end - begin).Seconds()
	s.use = useful.Seconds() / (end - begin).Seconds()
	if awaited {
		return s, nil
	}
	s.periods = p.Periods()
	s.atRest(bus)
	for text, period := range s.periods {
		if period.Within < measuring {
			s.late = max(s.late, max(longest[text], end-asked[text]).Seconds()/period.Within.Seconds())
		}
	}
	return s, nil
}

// singles returns the requests for one thing each that a request stands for, in hexadecimal.
func singles(r obd.Request) []string {
	if r.Service != 0x01 {
		return []string{r.Hex()}
	}
	var all []string
	for _, pid := range r.Data {
		all = append(all, obd.Request{Service: r.Service, Data: []byte{pid}}.Hex())
	}
	return all
}

func newCar(name string, bus obd.Bus, baud, maxBaud int) (*simcar.Sim, error) {
	car, err := simcar.Find(name)
	if err != nil {
		return nil, err
	}
	return simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1, Baud: baud, MaxBaud: maxBaud})
}

// plainRate is what a client reaches that asks one PID at a time and lets the adapter wait
// for more: the pair are PIDs 14 and 06, and after each pair one of the slow
// signals, with the periods that our own session keeps.
func plainRate(bus obd.Bus, baud int, periods map[string]poll.Period) (float64, error) {
	sim, err := newCar(plainCar.car, bus, baud, 0)
	if err != nil {
		return 0, err
	}
	link := sim.Link()
	ask := func(text string) error {
		if _, err := link.Write([]byte(text + "\r")); err != nil {
			return err
		}
		var got strings.Builder
		buf := make([]byte, 64)
		for !strings.HasSuffix(got.String(), ">") {
			n, err := link.Read(buf)
			if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
				return err
			}
			got.Write(buf[:n])
		}
		if strings.Contains(got.String(), "NO DATA") {
			return fmt.Errorf("%s: no data", text)
		}
		return nil
	}
	for _, text := range []string{"ATZ", "ATE0", "ATS0", fmt.Sprintf("ATSP%d", bus), "0100"} {
		if err := ask(text); err != nil {
			return 0, err
		}
	}
	due := map[string]time.Duration{}
	texts := slices.Sorted(maps.Keys(periods))
	begin, pairs := sim.Now(), 0
	for sim.Now() < begin+measuring {
		for _, text := range []string{"0114", "0106"} {
			if err := ask(text); err != nil {
				return 0, err
			}
		}
		pairs++
		next := slices.MinFunc(texts, func(a, b string) int { return cmp.Compare(due[a], due[b]) })
		if due[next] > sim.Now() {
			continue
		}
		due[next] = sim.Now() + periods[next].Every
		if err := ask(next); err != nil {
			return 0, err
		}
	}
	return float64(pairs) / (sim.Now() - begin).Seconds(), nil
}
