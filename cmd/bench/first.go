package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"pushback/obd"
	"pushback/obd/poll"
	"pushback/obd/simcar"
)

// memory remembers cars while the program runs.
type memory map[string]poll.Car

func (m memory) Recall(key string) (poll.Car, bool) { c, ok := m[key]; return c, ok }
func (m memory) Remember(key string, c poll.Car)    { m[key] = c }

// adapterReset is how long a simulated adapter takes to start.
const adapterReset = 600 * time.Millisecond

// idealStart is the shortest time from the first byte to the end of the first reading: the
// adapter's reset, the bus's start, two exchanges, and the serial characters of what no
// start can leave out (reset, echo, headers, blanks off, bus, and their answers).
func idealStart(bus obd.Bus, baud int) time.Duration {
	chars := 0
	for _, text := range []string{"ATZ", "ATE1", "ATS0", "ATH1", fmt.Sprintf("ATTP%d", bus)} {
		chars += 2*(len(text)+1) + len("OK\r\r>") // with its echo
	}
	serial := time.Duration(chars) * 10 * time.Second / time.Duration(baud)
	reply := simcar.UsualReply(bus)
	return adapterReset + busStart(bus) + serial +
		simcar.Ideal(bus, baud, reply, []byte{0x01, 0x00}, []byte{0x41, 0, 0, 0, 0, 0}, false) +
		simcar.Ideal(bus, baud, reply, pair, pairReply, false)
}

// firstReading is the time from the first byte to the end of the first reading of the sensor.
func firstReading(ctx context.Context, bus obd.Bus, baud int, mem poll.Memory) (time.Duration, error) {
	sim, err := newCar(bus, baud, 0)
	if err != nil {
		return 0, err
	}
	a := obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: "B1S1", Memory: mem, Port: "simulated"})
	if err != nil {
		return 0, err
	}
	for {
		r, err := p.Next(ctx)
		if err != nil {
			return 0, err
		}
		// A record that Next had to wait for ends now; one that Open has kept is no reading.
		if x := r.Exchange; x.Outcome == obd.OK && slices.Contains(x.Request.Data, 0x14) {
			return sim.Now(), nil
		}
	}
}

func firstTable(ctx context.Context) error {
	fmt.Println("First reading of the sensor, s from the first byte; the adapter's reset takes 0.60 s of it.")
	rows := [][]string{{"bus, 38400 baud", "ideal", "known car", "over ideal", "new car"}}
	for _, bus := range speedBuses {
		mem := memory{}
		fresh, err := firstReading(ctx, bus, 38400, mem)
		if err != nil {
			return fmt.Errorf("%v: %w", bus, err)
		}
		known, err := firstReading(ctx, bus, 38400, mem)
		if err != nil {
			return fmt.Errorf("%v, known: %w", bus, err)
		}
		ideal := idealStart(bus, 38400)
		rows = append(rows, []string{
			bus.String(), fmt.Sprintf("%.3f", ideal.Seconds()), fmt.Sprintf("%.3f", known.Seconds()),
			percent(known.Seconds()/ideal.Seconds() - 1), fmt.Sprintf("%.3f", fresh.Seconds()),
		})
	}
	grid(rows)
	return nil
}
