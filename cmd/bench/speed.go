package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

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
	fmt.Println("The watched pair (sensor voltage and short-term trim), readings a second in steady state.")
	fmt.Println("ideal: nothing but the pair, by the bus's timing, the computer's mean reply time and the serial line.")
	fmt.Println("bus use: the ideal time of every exchange made, slow signals too, over the time taken.")
	fmt.Println("plain: one PID a request, the adapter's own time-outs, no count of replies, the same slow signals.")
	for _, baud := range []int{38400, 115200} {
		rows := [][]string{{fmt.Sprintf("bus, %d baud", baud), "ideal", "ours", "share", "bus use", "plain", "ours/plain", "raised", "ours"}}
		for _, bus := range speedBuses {
			s, err := measure(ctx, bus, baud, 0)
			if err != nil {
				return fmt.Errorf("%v: %w", bus, err)
			}
			plain, err := plainRate(bus, baud)
			if err != nil {
				return fmt.Errorf("%v: plain client: %w", bus, err)
			}
			raised, err := measure(ctx, bus, baud, 500_000)
			if err != nil {
				return fmt.Errorf("%v: %w", bus, err)
			}
			rows = append(rows, []string{
				bus.String(), fmt.Sprintf("%.2f", s.ideal), fmt.Sprintf("%.2f", s.rate), percent(s.rate / s.ideal), percent(s.use),
				fmt.Sprintf("%.2f", plain), fmt.Sprintf("%.1f ×", s.rate/plain), fmt.Sprint(raised.baud), fmt.Sprintf("%.2f", raised.rate),
			})
		}
		fmt.Println()
		grid(rows)
	}
	return nil
}

func percent(x float64) string { return fmt.Sprintf("%.1f %%", 100*x) }

// speed is what a session reached.
type speed struct {
	ideal, rate float64 // of the pair, 1/s
	use         float64 // of the bus, 1 is ideal
	baud        int     // of the serial line in the end
}

var pair, pairReply = []byte{0x01, 0x14}, []byte{0x41, 0x14, 0x5A, 0x80}

// measure runs our own session.
func measure(ctx context.Context, bus obd.Bus, baud, maxBaud int) (speed, error) {
	sim, err := newCar(bus, baud, maxBaud)
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
	s.ideal = 1 / simcar.Ideal(bus, s.baud, simcar.UsualReply(bus), pair, pairReply, true).Seconds()
	var begin, end, useful time.Duration
	pairs := 0
	last := ""
	for end < settling+measuring {
		r, err := p.Next(ctx)
		if err != nil {
			return speed{}, err
		}
		x := r.Exchange
		text := fmt.Sprint(x.Request.Hex(), x.Request.Expect)
		repeated := text == last
		last, end = text, r.At
		if r.At < settling {
			begin = r.At
			continue
		}
		if x.Outcome != obd.OK {
			return speed{}, fmt.Errorf("%s: %v", x.Request.Hex(), x.Outcome)
		}
		request := append([]byte{x.Request.Service}, x.Request.Data...)
		reply := x.Replies[0].Data
		if d := x.Request.Data; len(d) == 2 && d[0] == d[1] { // the value came twice
			reply = append(append([]byte(nil), reply...), reply[1:]...)
		}
		useful += simcar.Ideal(bus, s.baud, simcar.UsualReply(bus), request, reply, repeated)
		if x.Request.Data != nil && x.Request.Data[0] == 0x14 {
			pairs++
		}
	}
	s.rate = float64(pairs) / (end - begin).Seconds()
	s.use = useful.Seconds() / (end - begin).Seconds()
	return s, nil
}

func newCar(bus obd.Bus, baud, maxBaud int) (*simcar.Sim, error) {
	car, err := simcar.Find("healthy")
	if err != nil {
		return nil, err
	}
	return simcar.New(simcar.Config{Car: car, Bus: bus, Seed: 1, Baud: baud, MaxBaud: maxBaud})
}

// plainRate is what a client reaches that asks one PID at a time and lets the adapter wait
// for more: the pair are PIDs 14 and 06, and after each pair one of the slow
// signals, with the periods that our own session keeps.
func plainRate(bus obd.Bus, baud int) (float64, error) {
	sim, err := newCar(bus, baud, 0)
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
	slow := []struct {
		text  string
		every time.Duration
		due   time.Duration
	}{
		{"0103", 1500 * time.Millisecond, 0}, {"010C", 1200 * time.Millisecond, 0}, {"0115", time.Second, 0},
		{"0107", 2500 * time.Millisecond, 0}, {"010B", 3 * time.Second, 0}, {"0110", 3 * time.Second, 0},
		{"010D", 3 * time.Second, 0}, {"0111", 3 * time.Second, 0}, {"0104", 3 * time.Second, 0},
		{"0105", 5 * time.Second, 0}, {"0101", 8 * time.Second, 0}, {"010F", 20 * time.Second, 0}, {"011F", 20 * time.Second, 0},
	}
	begin, pairs := sim.Now(), 0
	for sim.Now() < begin+measuring {
		for _, text := range []string{"0114", "0106"} {
			if err := ask(text); err != nil {
				return 0, err
			}
		}
		pairs++
		next := &slow[0]
		for i := range slow {
			if slow[i].due < next.due {
				next = &slow[i]
			}
		}
		if next.due > sim.Now() {
			continue
		}
		next.due = sim.Now() + next.every
		if err := ask(next.text); err != nil {
			return 0, err
		}
	}
	return float64(pairs) / (sim.Now() - begin).Seconds(), nil
}
