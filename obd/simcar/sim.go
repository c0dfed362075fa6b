package simcar

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"sync"
	"time"

	"pushback/obd"
)

// Config says which car to simulate and what happens to it. The zero value of each
// field is a sensible choice, but for Car.
type Config struct {
	Car    Car
	Bus    obd.Bus // BusUnknown: the car's own
	Seed   uint64  // all chance follows from it
	Baud   int     // of the adapter's serial side; 0: 38400
	Forces []Force // scripted; more can be applied while it runs
	Sensor string  // whose wire is forced; "": the car's choice, B1S1
	// SensorStays leaves the sensor on the wire during a force. By default the tap is a
	// harness box that opens the sensor's branch.
	SensorStays bool
	// BranchByHand has the harness box opened by ForceOpen alone: a force on the wire does not
	// open the sensor's branch by itself, nor its end close it.
	BranchByHand bool
	Drive        Drive         // what the engine does; 0: warm idle
	Busy         bool          // fan, compressor and purge come and go at idle too
	Stopped      bool          // ignition on, engine not running
	KeyOff       bool          // ignition off: the adapter answers, no car does
	Loss         float64       // share of requests that a computer leaves unanswered, 0 to 1
	Trace        time.Duration // how often Truth keeps a Point; 0: never

	Refuse  []string      // AT commands, without the letters AT, that the adapter does not know
	Patient bool          // the adapter waits up to 5 s more for what 7F xx 78 announces
	MaxBaud int           // up to which the adapter lets its serial speed be changed (ATBRD); 0: not at all
	Tap     func(Traffic) // is told every message on the bus; it must not call the Sim
}

// Traffic is one message on the bus.
type Traffic struct {
	At      time.Duration // when it ended
	From    uint32        // the computer: CAN identifier or address; 0: the adapter
	Message []byte        // service byte first
}

// Sim is a simulated adapter with a car. Its methods are safe for any goroutine; in
// one process, time moves only while its Link is read or its Clock slept on.
type Sim struct {
	mu      sync.Mutex
	cfg     Config
	bus     obd.Bus
	now     time.Duration
	car     *car
	adapter *adapter
	scatter *rand.Rand
	line    *link     // the open in-process link
	began   time.Time // wall time of now = 0, while served
	baud    int       // of the tester's side
}

// New puts the adapter and the car together.
func New(cfg Config) (*Sim, error) {
	if cfg.Car.engine.banks == 0 {
		return nil, fmt.Errorf("simulate a car: no car chosen")
	}
	if cfg.Baud == 0 {
		cfg.Baud = 38400
	}
	if cfg.Baud < 0 {
		return nil, fmt.Errorf("simulate a car: baud %d", cfg.Baud)
	}
	if cfg.Bus == obd.BusUnknown {
		cfg.Bus = cfg.Car.Bus
	}
	if cfg.Bus > obd.CAN29at250 {
		return nil, fmt.Errorf("simulate a car: no bus %d", cfg.Bus)
	}
	if cfg.Car.uds != nil && !cfg.Bus.CAN() {
		return nil, fmt.Errorf("simulate a car: SAE J1979-2 is spoken on CAN, not on %v", cfg.Bus)
	}
	if cfg.Sensor == "" {
		cfg.Sensor = cfg.Car.Sensor
	}
	if !slices.Contains(cfg.Car.sensors(), cfg.Sensor) {
		return nil, fmt.Errorf("simulate a car: sensor %q is not one of %v", cfg.Sensor, cfg.Car.sensors())
	}
	for _, f := range cfg.Forces {
		if err := f.Validate(); err != nil {
			return nil, fmt.Errorf("simulate a car: %w", err)
		}
	}
	s := &Sim{cfg: cfg, bus: cfg.Bus, scatter: rand.New(rand.NewPCG(cfg.Seed, 0x73636174746572))}
	s.car = newCar(&s.cfg)
	s.baud = cfg.Baud
	s.adapter = newAdapter(s, cfg.Baud)
	return s, nil
}

// sensors lists the car's sensors.
func (c *Car) sensors() []string {
	var all []string
	for i := range c.engine.banks {
		all = append(all, fmt.Sprintf("B%dS1", i+1))
		if c.rear(i) {
			all = append(all, fmt.Sprintf("B%dS2", i+1))
		}
	}
	return all
}

// Sensors lists the car's oxygen sensors, such as B1S1 and B1S2.
func (c Car) Sensors() []string { return c.sensors() }

// messages is what a computer answers now; functional means that all were asked.
func (s *Sim) messages(n *node, b obd.Bus, functional bool, request []byte) []message {
	if s.cfg.Loss > 0 && s.scatter.Float64() < s.cfg.Loss {
		return nil
	}
	if s.cfg.Car.uds != nil {
		return s.udsMessages(n, functional, request)
	}
	var out []message
	for _, m := range s.car.answer(n, b.CAN(), request) {
		out = append(out, message{data: m})
	}
	return out
}

// advance moves adapter and car to a time, and lets happen what is due.
func (s *Sim) advance(to time.Duration) {
	for {
		at, ok := s.adapter.next()
		if !ok || at > to {
			break
		}
		s.move(at)
		s.adapter.run()
	}
	s.move(to)
}

func (s *Sim) move(to time.Duration) {
	if to > s.now {
		s.car.run(to)
		s.now = to
	}
}

// catchUp moves a served car to the machine's time.
func (s *Sim) catchUp() {
	if !s.began.IsZero() {
		s.advance(time.Since(s.began))
	}
}

// atOnce locks the simulation for a change and returns the way to unlock it.
func (s *Sim) atOnce() func() {
	s.mu.Lock()
	s.catchUp()
	return s.mu.Unlock
}

// Ignition switches the car's computers off or on. K-lines must be started again
// afterwards.
func (s *Sim) Ignition(on bool) {
	defer s.atOnce()()
	s.cfg.KeyOff = !on
	if !on {
		s.adapter.asleep = true
	}
}

// Storm disturbs the bus so that no frame passes.
func (s *Sim) Storm(on bool) {
	defer s.atOnce()()
	s.adapter.storm = on
}

// Hang makes the adapter take and print nothing more, until it is let go.
func (s *Sim) Hang(on bool) {
	defer s.atOnce()()
	s.adapter.hung = on
	if on {
		s.adapter.hangUp()
	}
}

// Restart interrupts the adapter's power for a moment: it begins anew with its banner.
func (s *Sim) Restart() {
	defer s.atOnce()()
	s.adapter.hangUp()
	s.adapter.restart()
}

// Now returns the simulated time since the start.
func (s *Sim) Now() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

// Apply begins a force now, whatever its At; one of the same sort (wire, mixture or branch)
// that is on ends. The error is that of [Force.Validate].
func (s *Sim) Apply(f Force) error {
	if err := f.Validate(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.catchUp()
	s.car.tech.apply(f, s.car.now())
	return nil
}

// Clip moves the tap to the wire of another sensor, such as B1S2. The error says that the car
// has none of that name.
func (s *Sim) Clip(sensor string) error {
	if !slices.Contains(s.cfg.Car.sensors(), sensor) {
		return fmt.Errorf("clip on to %q: the car has %v", sensor, s.cfg.Car.sensors())
	}
	defer s.atOnce()()
	s.car.tech.clip(&s.cfg.Car, sensor)
	return nil
}

// Release ends every force of these kinds that is on, at the wire of the other bank none, or every force.
func (s *Sim) Release(kinds ...ForceKind) { s.release(false, kinds...) }

func (s *Sim) release(beside bool, kinds ...ForceKind) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.catchUp()
	s.car.tech.release(s.car.now(), beside, kinds...)
}

// OtherWire is a car for a second pair of hands: all that they do they do at the other bank's upstream wire.
type OtherWire struct{ *Sim }

// Apply begins a force there; see [Sim.Apply].
func (o OtherWire) Apply(f Force) error {
	f.Beside = true
	return o.Sim.Apply(f)
}

// Release ends what of these kinds is done there.
func (o OtherWire) Release(kinds ...ForceKind) { o.release(true, kinds...) }

// Clip changes nothing: this tap stays where it is.
func (o OtherWire) Clip(string) error { return nil }

// Truth returns what really happened so far.
func (s *Sim) Truth() Truth {
	s.mu.Lock()
	defer s.mu.Unlock()
	return Truth{Forces: slices.Clone(s.car.tech.forces), Trace: slices.Clone(s.car.trace.points)}
}

// State returns the plant as it is now.
func (s *Sim) State() Point {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.car.point()
}

// epoch is what a simulated clock shows at the start.
var epoch = time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)

// Clock returns the simulated clock. Sleep advances the simulation.
func (s *Sim) Clock() obd.Clock { return (*clock)(s) }

type clock Sim

func (c *clock) Now() time.Time { return epoch.Add((*Sim)(c).Now()) }

func (c *clock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s := (*Sim)(c)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.advance(s.now + max(d, 0))
	return nil
}

// Link opens the line to the adapter within this process. Read advances the
// simulation to the next byte, or to the read deadline. A link opened later takes the
// place of an earlier one, as a plug does.
func (s *Sim) Link() obd.Link {
	s.mu.Lock()
	defer s.mu.Unlock()
	l := &link{s: s}
	s.line = l
	return l
}

type link struct {
	s        *Sim
	closed   bool
	deadline time.Time
}

// gone reports whether the line is closed or replaced. The simulation is locked.
func (l *link) gone() bool { return l.closed || l.s.line != l }

// patience is how far a read without a deadline lets time pass in vain.
const patience = time.Minute

func (l *link) Read(p []byte) (int, error) {
	s := l.s
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(p) == 0 {
		return 0, nil
	}
	limit := s.now + patience
	if !l.deadline.IsZero() {
		limit = l.deadline.Sub(epoch)
	}
	for {
		if l.gone() {
			return 0, obd.ErrLinkLost
		}
		if n := s.adapter.take(p); n > 0 {
			return n, nil
		}
		at, ok := s.adapter.next()
		if len(s.adapter.out) > 0 && (!ok || s.adapter.out[0].at < at) {
			at, ok = s.adapter.out[0].at, true
		}
		if !ok || at > limit {
			s.advance(limit)
			return 0, os.ErrDeadlineExceeded
		}
		s.advance(at)
	}
}

func (l *link) Write(p []byte) (int, error) {
	l.s.mu.Lock()
	defer l.s.mu.Unlock()
	if l.gone() {
		return 0, obd.ErrLinkLost
	}
	l.s.adapter.write(p)
	return len(p), nil
}

// Baud returns the speed of this side in bit/s.
func (l *link) Baud() int {
	l.s.mu.Lock()
	defer l.s.mu.Unlock()
	return l.s.baud
}

// SetBaud changes it.
func (l *link) SetBaud(baud int) error {
	l.s.mu.Lock()
	defer l.s.mu.Unlock()
	if l.gone() {
		return obd.ErrLinkLost
	}
	l.s.baud = baud
	return nil
}

func (l *link) SetReadDeadline(t time.Time) error {
	l.s.mu.Lock()
	defer l.s.mu.Unlock()
	l.deadline = t
	return nil
}

func (l *link) Close() error {
	l.s.mu.Lock()
	defer l.s.mu.Unlock()
	l.closed = true
	return nil
}
