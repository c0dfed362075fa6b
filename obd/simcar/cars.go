package simcar

import (
	"fmt"
	"strings"
	"time"

	"pushback/obd"
)

// Car is one invented vehicle with one invented fault, or none.
type Car struct {
	Name   string   // kebab-case
	About  string   // what an experienced technician should find
	Expect string   // the conclusion that a test of both sides should come to, by the names of the JSON verdict
	Also   []string // conclusions that are right too, where it depends on when the forces come
	// ByMixture is what a test by mixture, both sides, should come to, of a car with wide-range
	// sensors; "": as by wire.
	ByMixture string
	// ByFuelCut is what a drive through town that is judged by the sensor behind the catalyst should come to, of a car with a fault
	// there; "": nothing is known of it, or the sensor is sound.
	ByFuelCut string
	Bus       obd.Bus // its bus, unless Config says otherwise
	Sensor    string  // the sensor to force: "B1S1"

	engine     engineSpec
	bank       [2]bankSpec
	control    controlSpec
	downstream bool // each bank has a sensor behind the catalyst
	wide       bool // the upstream sensors are wide-range ones
	wideRear   bool // those behind the catalyst too
	crossed    bool // the upstream sensors' connectors are swapped between the banks
	sharedRear bool // one sensor behind the catalyst that both banks share
	off        bool // the ignition is on and the engine stands
	talk
}

// talk is how the car's computers speak.
type talk struct {
	gearbox                bool          // a second computer answers
	fourBanks              bool          // reports its sensors by PID 1D
	recent                 bool          // has PIDs beyond 20
	refuses                bool          // answers what it does not know with 7F
	trimApart              bool          // PID 14 carries FF in place of the trim
	reply                  time.Duration // a computer's time to answer; 0: usual for the bus
	padding                int           // byte that fills CAN frames; -1: frames are short
	oneControl             bool          // PID 03 tells one fuel system for both banks
	fifth                  bool          // a wide-range sensor is shown through PID 14 at a fifth of its volts
	mute24, mute34, mute55 bool          // a wide-range car without PIDs 24 to 2B, 34 to 3B, 55 to 58
	scales                 [4]byte       // PID 4F: full scales of lambda, V, mA and 10 kPa; all 0: it has none
	fuel                   byte          // PID 51; 0: gasoline
	alcohol                bool          // has PID 52
	diesel                 bool          // compression ignition: no trims, no fuel status
	battery                bool          // has PID 5B: a hybrid
	silence
	uds *udsSpec // speaks SAE J1979-2, not SAE J1979; nil: the other way round
}

// silence is on which buses nobody answers, and what is not told.
type silence struct {
	heavyDuty bool // on its own, where others talk as SAE J1939 has it
	mute      bool // on its own
	otherCAN  bool // on a CAN bus that the connector has too
	untold    bool // which fuel a diesel burns: neither PID 01 nor PID 51 says it

	lambdaAfter time.Duration // from the start: lambda comes only then, though the bitmaps promise it
}

// healthy returns a sound car with one bank.
func healthy() Car {
	c := Car{Bus: obd.CAN11at500, Sensor: "B1S1", Expect: "loop_proven", downstream: true, talk: talk{recent: true}}
	e := &c.engine
	e.banks, e.litres, e.idleRPM, e.idleFlow, e.coolant = 1, 2.0, 750, 3.0, 90
	e.transport.turns, e.transport.pipe = 2.5, 0.9
	e.filmShare, e.filmTau, e.mixing = 0.2, 0.3, 0.05
	sound := cellSpec{kelvin: 900, toRich: 0.07, toLean: 0.05, resistanceBy: 5}
	for i := range c.bank {
		c.bank[i] = bankSpec{
			fuelError: -0.01, wander: 0.003, wanderTau: 5, cycleNoise: 0.004,
			catalyst: 0.5, up: sound, down: sound, wide: wideSpec{toRich: 0.07, toLean: 0.07},
		}
		c.bank[i].down.toRich, c.bank[i].down.toLean, c.bank[i].down.kelvin = 0.3, 0.2, 850
	}
	c.control = controlSpec{
		relaySpec: relaySpec{ramp: 0.02, jump: 0.015, shift: 0.1}, limit: 0.25, canCut: true, canAdd: true, learn: 0.002,
		wideLoop: wideLoop{kp: 0.1, ki: 0.6, dither: 0.004, half: 5, rear: 0.002, rearLimit: 0.03},
		closedAt: 65, closedAfter: 20, refresh: 20 * time.Millisecond,
	}
	return c
}

// build is how a named car differs from the sound one.
type build struct {
	name, about string
	expect      []string // the best conclusion first
	change      func(*Car)
}

func only(conclusion string) []string { return []string{conclusion} }

// Cars returns the simulated cars, the sound one first. Long because it is a table.
func Cars() []Car {
	builds := []build{
		{"healthy", "A sound car. Forced lean, the computer adds fuel; forced rich, it cuts; released, the sensor reports what the loop made.",
			only("loop_proven"), func(c *Car) {}},
		{"input-dead", "The computer reads 0.45 V whatever the wire carries. The reading does not follow either force: computer or its connector.",
			only("input_dead"), func(c *Car) { c.bank[0].upWire.inputDead, c.bank[0].upWire.inputAt = true, biasVolts }},
		{"wire-open-computer-side", "The signal wire is broken between the tap and the computer. The reading rests at the bias and follows no force.",
			only("input_dead"), func(c *Car) { c.bank[0].upWire.computerOpen = true }},
		{"wire-open-sensor-side", "The signal wire is broken between the sensor and the tap. The loop answers both forces; released, the reading returns to the bias.",
			only("sensor_dead"), func(c *Car) { c.bank[0].upWire.sensorOpen = true }},
		{"sensor-dead-low", "The element reports lean whatever the gas, and trim stands at its upper limit. The loop answers a rich force; released, the sensor never reports rich.",
			only("sensor_dead"), func(c *Car) { c.stick(0, 0.08); c.control.fuelAfter = 30 }},
		{"sensor-dead-high", "The element reports rich whatever the gas, and trim stands at its lower limit. The loop answers a lean force; released after a rich one, the sensor never reports lean.",
			only("sensor_dead"), func(c *Car) { c.stick(0, 0.84) }},
		{"sensor-dead-middle", "The element gives a flat half volt. The loop answers both forces, the sensor reports neither result.",
			only("sensor_dead"), func(c *Car) { c.stick(0, 0.48) }},
		{"sensor-lazy", "The element needs more than a second to follow the gas: slow slopes at rest and a late answer to propane. Released from a wire force it reports at once: it had the whole force to follow.",
			only("sensor_slow"), func(c *Car) { c.bank[0].up.toRich, c.bank[0].up.toLean = 1.6, 1.2 }},
		{"trim-frozen", "The reading follows both forces, trim never moves: the computer does not command.",
			only("no_command"), func(c *Car) { c.control.frozen = true; c.control.learned[0] = 0.015 }},
		{"adds-only", "Held lean, the computer adds fuel; held rich, trim stops at zero and never cuts.",
			only("no_command"), func(c *Car) { c.control.canCut = false }},
		{"cuts-only", "Held rich, the computer cuts fuel; held lean, trim stops at zero and never adds.",
			only("no_command"), func(c *Car) { c.control.canAdd = false; c.bank[0].fuelError = 0.01 }},
		{"fuel-not-delivered", "Trim answers both forces, but neither the sensor on release nor the one behind the catalyst sees the mixture move.",
			only("no_delivery"), func(c *Car) {
				b := &c.bank[0]
				b.undelivered, b.fuelError, b.wander, b.wanderTau, b.catalyst = true, 0.001, 0.01, 0.8, 0.12
				c.control.ramp, c.control.jump = 0.02, 0.005
			}},
		{"vacuum-leak", "Unmetered air makes 12 % at idle, within the computer's authority. The loop is sound: look for the leak.",
			only("loop_proven"), func(c *Car) {
				c.bank[0].leak = 0.36
				c.control.learned[0], c.control.shortTerm[0] = 0.05, 0.07
			}},
		{"vacuum-leak-large", "More unmetered air than trim can cover: trim stands at its upper limit and the reading is lean. A lean force shows nothing; a rich force proves that the loop cuts. Only enriching the mixture tells the rest.",
			only("unclear"), func(c *Car) {
				c.bank[0].leak = 1.6
				c.control.learned[0], c.control.shortTerm[0] = 0.08, 0.25
				c.control.stored = []uint16{0x0171}
			}},
		{"rich-injector", "An injector leaks: trim is well below zero at idle and less so with more air. The loop is sound.",
			only("loop_proven"), func(c *Car) {
				c.bank[0].injector = 0.36
				c.control.learned[0], c.control.shortTerm[0] = -0.05, -0.06
			}},
		{"exhaust-leak", "Outside air enters ahead of the upstream sensor, most at idle: trim adds fuel that the engine does not need. The loop itself answers.",
			only("loop_proven"), func(c *Car) {
				c.bank[0].falseAir = 0.07
				c.control.learned[0], c.control.shortTerm[0] = 0.04, 0.04
			}},
		{"supply-weak", "The fuel supply does not keep up: trim is sound at idle and adds the more, the more air flows. The loop itself answers.",
			only("loop_proven"), func(c *Car) { c.bank[0].starve = 0.007 }},
		{"air-meter-low", "The air meter reads an eighth low over its whole range: trim adds the same everywhere.",
			only("loop_proven"), func(c *Car) {
				c.engine.meter = -0.125
				c.control.learned[0], c.control.shortTerm[0] = 0.07, 0.07
			}},
		{"crossed-banks", "The upstream connectors of the two banks are swapped. Bank 1's sensor is forced, bank 2's reading and trim answer; at rest the trims stand at opposite limits.",
			only("wrong_bank"), func(c *Car) {
				vee(c)
				c.crossed = true
				c.control.shortTerm = [2]float64{0.25, -0.25}
			}},
		{"v-engine", "A sound car with two banks. Bank 1 is forced and bank 1 answers.",
			only("loop_proven"), vee},
		{"cold", "Just started at 15 °C: open loop for minutes. No force counts yet.",
			only("not_ready"), func(c *Car) { c.engine.coolant, c.engine.justBegun = 15, true }},
		{"wide-range", "The upstream sensor is a wide-range one: its wire must not be forced. Propane and an induced lean prove the loop.",
			only("not_ready"), func(c *Car) { c.wide, c.ByMixture = true, "loop_proven" }},
		{"monitor-trips", "The computer watches its sensor closely: some seconds at the limit set a code, the loop opens and trim drops to zero. That too is an answer, but the other side can then not be tested until the code is cleared.",
			only("unclear"), func(c *Car) { c.control.ramp = 0.04; c.control.lowAfter, c.control.highAfter = 3, 3 }},
		{"no-downstream", "A sound car without a sensor behind the catalyst.",
			only("loop_proven"), func(c *Car) { c.downstream, c.recent, c.Bus = false, false, obd.ISO9141 }},
		{"slow-integrator", "A sound car with a slow computer: trim moves 0.3 % a second.",
			only("loop_proven"), func(c *Car) { c.control.ramp, c.control.jump = 0.003, 0.01 }},
		{"open-loop-bias", "The signal wire is broken on the sensor's side and the computer has gone back to open loop. Forced, it sees a signal and closes the loop again.",
			only("sensor_dead"), func(c *Car) { c.bank[0].upWire.sensorOpen = true; c.control.unseen = opens }},
		{"circuit-code", "The signal wire is broken on the sensor's side, and the computer has set a code for it and left closed loop. The reading follows both forces, trim cannot: repair, clear the code, test again.",
			only("not_ready"), func(c *Car) { c.bank[0].upWire.sensorOpen = true; c.control.openAfter = 20 }},
	}
	builds = append(append(builds, habits...), wideBuilds()...)
	cars := make([]Car, len(builds))
	for i, b := range builds {
		c := healthy()
		b.change(&c)
		c.Name, c.About = b.name, b.about
		c.Expect, c.Also = b.expect[0], b.expect[1:]
		cars[i] = c
	}
	return cars
}

// stick makes a bank's upstream element report v whatever the gas.
func (c *Car) stick(bank int, v float64) {
	c.bank[bank].up.stuck, c.bank[bank].up.stuckAt = true, v
	c.lead(bank, v)
}

// lead puts a bank's trim where a reading that never changes has long led it.
func (c *Car) lead(bank int, v float64) {
	switch {
	case v < switchVolts-0.06:
		c.control.shortTerm[bank] = c.control.limit
	case v > switchVolts+0.06:
		c.control.shortTerm[bank] = -c.control.limit
	}
}

// vee makes it a two-bank engine with an automatic gearbox.
func vee(c *Car) {
	c.engine.banks, c.engine.litres, c.engine.idleRPM, c.engine.idleFlow = 2, 3.0, 680, 4.2
	c.engine.transport.pipe = 0.7
	c.gearbox, c.fourBanks = true, true
	c.bank[1].fuelError = 0.015
}

// Find returns the car of that name. The error lists the names.
func Find(name string) (Car, error) {
	var names []string
	for _, c := range append(Cars(), Others()...) {
		if c.Name == name {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Car{}, fmt.Errorf("find simulated car %q: want one of %s", name, strings.Join(names, ", "))
}
