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
type memory map[string][]poll.Car

func (m memory) Recall(key string) []poll.Car    { return m[key] }
func (m memory) Remember(key string, c poll.Car) { m[key] = poll.Met(m[key], c) }

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

// visit is one car met with one adapter.
type visit struct {
	car string
	bus obd.Bus
}

// The cars of the table: the one that is measured, and another.
const known, other = "healthy", "v-engine"

// firstReading is the time from the first byte to the end of the first reading of the sensor. The
// session lasts until all that discovery asks was asked.
func firstReading(ctx context.Context, v visit, baud int, mem poll.Memory) (time.Duration, error) {
	car, err := simcar.Find(v.car)
	if err != nil {
		return 0, err
	}
	sim, err := simcar.New(simcar.Config{Car: car, Bus: v.bus, Seed: 1, Baud: baud})
	if err != nil {
		return 0, err
	}
	a := obd.NewAdapter(sim.Link(), sim.Clock(), obd.AdapterOptions{})
	p, err := poll.Open(ctx, a, sim.Clock(), poll.Config{Sensor: "B1S1", Memory: mem, Port: "simulated"})
	if err != nil {
		return 0, err
	}
	var read time.Duration
	for range 60 {
		r, err := p.Next(ctx)
		if err != nil {
			return 0, err
		}
		// A record that Next had to wait for ends now; one that Open has kept is no reading.
		if x := r.Exchange; read == 0 && x.Outcome == obd.OK && slices.Contains(x.Request.Data, 0x14) {
			read = sim.Now()
		}
	}
	return read, nil
}

// afterwards is the first reading of the last visit of several through one adapter.
func afterwards(ctx context.Context, visits ...visit) (read time.Duration, err error) {
	mem := memory{}
	for _, v := range visits {
		if read, err = firstReading(ctx, v, 38400, mem); err != nil {
			return 0, fmt.Errorf("%s on %v: %w", v.car, v.bus, err)
		}
	}
	return read, nil
}

// longest is the longest of the first readings of a car that comes after others, which are met
// on each of the buses.
func longest(ctx context.Context, visits func(bus obd.Bus) []visit) (most time.Duration, on obd.Bus, err error) {
	for _, bus := range speedBuses {
		read, err := afterwards(ctx, visits(bus)...)
		if err != nil {
			return 0, 0, err
		}
		if read > most {
			most, on = read, bus
		}
	}
	return most, on, nil
}

func firstTable(ctx context.Context) error {
	fmt.Println("First reading of the sensor, s from the first byte; the adapter's reset takes 0.60 s of it.")
	fmt.Println("known: met before. in turn: two known cars come in turn, the other on the bus where that costs most, or on the same.")
	fmt.Println("new: no memory. unknown: another car is remembered, on the bus where that costs most, or on the same.")
	rows := [][]string{{"bus, 38400 baud", "ideal", "known", "over ideal", "in turn", "same bus", "new", "unknown", "same bus"}}
	seconds := func(d time.Duration) string { return fmt.Sprintf("%.3f", d.Seconds()) }
	for _, bus := range speedBuses {
		ideal, me := idealStart(bus, 38400), visit{known, bus}
		inTurn := func(b obd.Bus) []visit {
			you := visit{other, b}
			return []visit{me, you, me, you, me, you, me}
		}
		unknown := func(b obd.Bus) []visit { return []visit{{other, b}, me} }
		var got [6]time.Duration
		for i, visits := range [][]visit{{me, me}, nil, inTurn(bus), {me}, nil, unknown(bus)} {
			var err error
			switch i {
			case 1:
				got[i], _, err = longest(ctx, inTurn)
			case 4:
				got[i], _, err = longest(ctx, unknown)
			default:
				got[i], err = afterwards(ctx, visits...)
			}
			if err != nil {
				return err
			}
		}
		rows = append(rows, []string{
			bus.String(), seconds(ideal), seconds(got[0]), percent(got[0].Seconds()/ideal.Seconds() - 1),
			seconds(got[1]), seconds(got[2]), seconds(got[3]), seconds(got[4]), seconds(got[5]),
		})
	}
	grid(rows)
	fmt.Println()
	return firstSecond(ctx, seconds)
}

// firstSecond prints the same of a car that speaks J1979-2, and of one that speaks J1979 and comes
// in turn with it.
func firstSecond(ctx context.Context, seconds func(time.Duration) string) error {
	rows := [][]string{{"J1979-2", "known", "over ideal", "in turn with J1979", "J1979 in turn with it", "new", "unknown"}}
	for _, bus := range speedBuses[:4] {
		me, old := visit{secondCar.car, bus}, visit{known, bus}
		row := []string{bus.String()}
		for i, visits := range [][]visit{{me, me}, {old, me, old, me}, {me, old, me, old}, {me}} {
			read, err := afterwards(ctx, visits...)
			if err != nil {
				return err
			}
			row = append(row, seconds(read))
			if i == 0 {
				row = append(row, percent(read.Seconds()/idealStart(bus, 38400).Seconds()-1))
			}
		}
		read, _, err := longest(ctx, func(b obd.Bus) []visit { return []visit{{other, b}, me} })
		if err != nil {
			return err
		}
		row = append(row, seconds(read))
		rows = append(rows, row)
	}
	grid(rows)
	return nil
}
