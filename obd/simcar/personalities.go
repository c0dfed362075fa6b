package simcar

import (
	"time"

	"pushback/obd"
)

// habits are sound cars, for the most part, whose computers and wiring do what others do not,
// and cars that a test of the loop must not be made on.
var habits = []build{
	{"one-control", "Two banks under one control: byte B of PID 03 is 00. Bank 2 is forced, and follows byte A.",
		only("loop_proven"), func(c *Car) { vee(c); c.oneControl, c.Sensor = true, "B2S1" }},
	{"second-bank-open", "Two banks; bank 2's signal wire is broken between the tap and the computer. Bank 1 is forced, and sound; held too, bank 2's reading follows nothing.",
		only("loop_proven"), func(c *Car) { vee(c); c.bank[1].upWire.computerOpen = true }},
	{"return-offset", "The sensor return lies 0.2 V above the computer's ground: held lean, the reading is 0.20 V. The loop is sound, the offset a finding.",
		only("loop_proven"), func(c *Car) { c.raise(0.2) }},
	{"lean-clipped", "The computer's ground lies 0.12 V above the return: a lean reading is cut off at 0.000 V and dead flat, after a release too. The loop is sound.",
		only("loop_proven"), func(c *Car) { c.raise(-0.12) }},
	{"report-slow", "The computer renews what it reports every 0.5 s and filters the voltages. The sensor is as quick as any.",
		only("loop_proven"), func(c *Car) { c.control.refresh, c.control.filter = 500*time.Millisecond, 0.3 }},
	{"hot-cell", "A hot, somewhat aged cell: rich reads 0.70 to 0.78 V. That may stay undecided, dead it is not.",
		[]string{"loop_proven", "partly_proven", "unclear"}, func(c *Car) { c.bank[0].up.kelvin, c.bank[0].up.output = 1100, 0.87 }},
	{"trim-given-up", "Three seconds into a force the computer gives trim up, without a word in its status. Shorter holds show that the loop answers.",
		[]string{"unclear", "partly_proven", "loop_proven"}, func(c *Car) { c.control.giveUp = 3 }},
	{"trim-given-up-late", "Six seconds into a force the computer gives trim up, without a word in its status.",
		[]string{"unclear", "partly_proven", "loop_proven"}, func(c *Car) { c.control.giveUp = 6 }},
	{"sensor-doubted", "Six seconds into a force the fuel status goes from 02 to 10: closed loop, with a fault. The computer saw the force, and let go of the sensor. Shorter holds show that the loop answers.",
		[]string{"unclear", "partly_proven", "loop_proven"}, func(c *Car) { c.control.doubt = 6 }},
	{"trim-paused", "Purge and learning stop trim for 10 to 20 s every half minute or so. A force that trim does not answer means nothing by itself.",
		[]string{"loop_proven", "partly_proven", "unclear"}, func(c *Car) { c.control.rests = 25 }},
	{"leak-learned", "Unmetered air at idle, and a computer that learns an idle term which no trim shows: trim walks back to zero, the leak stays. The loop is sound.",
		only("loop_proven"), func(c *Car) {
			c.bank[0].leak, c.control.idleTerm, c.control.learn = 0.36, 0.01, 0
			c.control.learned[0], c.control.shortTerm[0] = 0.05, 0.07
		}},
	{"bank-restricted", "Two banks, one of whose exhausts is half blocked: bank 1 draws less than its half of the air, the less the more flows; its trim goes down, bank 2's up by as much. The loop is sound.",
		only("loop_proven"), func(c *Car) {
			vee(c)
			c.bank[0].restricted, c.bank[1].restricted = 0.004, -0.004
		}},
	{"boost-leak", "A charged engine whose intake hose has split behind the air meter: at idle air comes in and trim adds, under boost metered air gets out and trim cuts. The loop is sound.",
		only("loop_proven"), func(c *Car) {
			c.bank[0].leak, c.bank[0].lost = 0.36, 0.3
			c.control.learned[0], c.control.shortTerm[0] = 0.05, 0.07
		}},
	{"purge-rich", "A canister full of fuel: with the purge valve open, 40 s in 80, trim goes far down, with it shut it is sound. The loop is sound.",
		[]string{"loop_proven", "partly_proven", "unclear"}, func(c *Car) { c.engine.canister = 0.45 }},
	{"rear-stuck-rich", "The element behind the catalyst reads 0.78 V whatever the gas. No test of the sensor in front needs it; a drive shows it: no fuel cut brings it lean.",
		only("loop_proven"), func(c *Car) { c.bank[0].down.stuck, c.bank[0].down.stuckAt, c.ByFuelCut = true, 0.78, "sensor_dead" }},
	{"rear-stuck-lean", "The element behind the catalyst reads 0.06 V whatever the gas. A drive shows it: full load never brings it rich.",
		only("loop_proven"), func(c *Car) { c.bank[0].down.stuck, c.bank[0].down.stuckAt, c.ByFuelCut = true, 0.06, "sensor_dead" }},
	{"rear-wire-open", "The signal wire of the sensor behind the catalyst is broken: the reading rests at the bias. A drive shows it: neither fuel cut nor full load moves it.",
		only("loop_proven"), func(c *Car) { c.bank[0].downWire.sensorOpen, c.ByFuelCut = true, "sensor_dead" }},
	{"open-level-zero", "An open input is pulled down to 0 V. The loop is sound.",
		only("loop_proven"), func(c *Car) { c.bias(-1) }},
	{"open-level-high", "An open input reads 1.1 V. The loop is sound.",
		only("loop_proven"), func(c *Car) { c.bias(1.1) }},
	{"pulled-up", "An open input is pulled up to 5 V: it reads the top of the range. The loop is sound.",
		only("loop_proven"), func(c *Car) { c.bias(5) }},
	{"y-pipe", "Two banks whose pipes join in front of one catalyst with one sensor behind it.",
		[]string{"loop_proven", "partly_proven", "unclear"}, func(c *Car) { vee(c); c.sharedRear = true }},
	{"exhaust-leak-large", "So much outside air enters ahead of the upstream sensor at idle that it never reads rich; trim stands at its upper limit, the sensor behind the catalyst reads rich. The leak comes first, the sensor is not dead for it.",
		only("unclear"), func(c *Car) {
			c.bank[0].falseAir, c.bank[0].plume = 0.05, 0.35
			c.control.learned[0], c.control.shortTerm[0] = 0.1, 0.25
		}},
	{"wide-at-a-fifth", "A wide-range sensor shown through PID 14 at a fifth of its volts: 0.66 V is stoichiometric, higher is lean. Its wire must not be touched.",
		only("not_ready"), func(c *Car) { c.wide, c.fifth = true, true }},
	{"engine-off", "The ignition is on, the engine stands.",
		only("not_ready"), func(c *Car) { c.off = true }},
	{"start-stop", "The engine stops by itself after a minute at idle, in the middle of a force, and starts again 20 s later.",
		[]string{"unclear", "not_ready", "partly_proven", "loop_proven"}, func(c *Car) { c.engine.stop = stopSpec{64, 20, 60} }},
	{"hybrid", "The engine of a hybrid outside its inspection mode: it stands, runs for some seconds, and stands again.",
		only("not_ready"), func(c *Car) { c.battery, c.fuel = true, 0x11; c.engine.stop = stopSpec{-10, 40, 12} }},
	{"secondary-air", "The secondary air pump runs: air in the exhaust ports, open loop.",
		only("not_ready"), func(c *Car) { c.engine.secondaryAir = true }},
	{"flex-learning", "Refuelled with ethanol: the computer takes its short-term trim for the fuel's share of alcohol and learns it. No test until that is done.",
		only("not_ready"), func(c *Car) {
			c.alcohol, c.control.learnsFuel = true, true
			c.bank[0].fuelError = -0.2
			c.control.shortTerm[0] = 0.24
		}},
	{"gas", "Runs on liquefied gas: PID 51 says so. What the loop does there says nothing of petrol.",
		only("not_ready"), func(c *Car) { c.fuel = 0x0C }},
	{"diesel", "A diesel engine with a wide-range sensor: there is no loop to test.",
		only("not_ready"), func(c *Car) { c.diesel, c.wide, c.fuel = true, true, 0x04 }},
	{"two-buses", "Diagnosis on a K-line; the connector has a CAN bus too, where nobody answers.",
		only("loop_proven"), func(c *Car) { c.Bus, c.otherCAN = obd.ISO14230Fast, true }},
	{"obd-on-uds", "A sound car that speaks SAE J1979-2 only: it is silent to the older services.",
		only("loop_proven"), func(c *Car) { c.uds = &udsSpec{most: 6} }},
	{"obd-on-uds-long", "The same dialect with 29-bit identifiers from a car that makes it hard: unpadded frames, one identifier a request, answers that follow 7F xx 78 late, no F810, and a second unit that tells engine speed unscaled.",
		only("loop_proven"), func(c *Car) {
			c.Bus, c.padding = obd.CAN29at500, -1
			c.uds = &udsSpec{most: 1, noVersion: true, readiness: true, second: true, pending: 0.02, old: true,
				late: [2]time.Duration{200 * time.Millisecond, 3 * time.Second}, permanent: []uint16{0x0456}}
			c.control.stored = []uint16{0x0456}
		}},
}

// wideBuilds are cars with wide-range sensors: by wire no test counts, by mixture it does.
func wideBuilds() []build {
	var all []build
	for _, b := range []struct {
		name, about, byMixture string
		change                 func(*Car)
	}{
		{"wide-no-air-meter", "Air is worked out from manifold pressure: propane moves the mixture, a hose off hardly does, for its air is metered too.",
			"partly_proven", func(c *Car) { c.engine.speedDensity = true }},
		{"wide-half-blind", "The element tells half of what the mixture does.",
			"sensor_skewed", func(c *Car) { c.bank[0].wide.gain = 0.5 }},
		{"wide-offset", "The element tells 6 % too rich; the loop holds that, and only the sensor behind the catalyst knows.",
			"sensor_skewed", func(c *Car) { c.bank[0].wide.offset = 0.06 }},
		{"wide-slow", "The element follows with a lag of a second, both ways.",
			"sensor_slow", func(c *Car) { c.bank[0].wide.toRich, c.bank[0].wide.toLean = 1, 1 }},
		{"wide-slow-to-rich", "The element follows at once when it grows leaner, with a lag of 1.2 s when it grows richer.",
			"sensor_slow", func(c *Car) { c.bank[0].wide.toRich = 1.2 }},
		{"wide-late", "The element tells all of it 0.6 s later than it should, when it grows leaner.",
			"sensor_slow", func(c *Car) { c.bank[0].wide.delayLean = 0.6 }},
		{"wide-pump-open", "The pump wire is open: lambda 1.000, no current, trim near zero, no code. Perfect at rest; only a force shows it.",
			"sensor_dead", func(c *Car) { c.bank[0].wide.pumpOpen, c.bank[0].fuelError = true, 0 }},
		{"wide-cold", "The element never gets warm; the loop stays open.",
			"not_ready", func(c *Car) { c.bank[0].wide.cold = true }},
		{"wide-fuel-not-delivered", "Trim answers, the mixture does not follow.",
			"no_delivery", func(c *Car) { c.bank[0].undelivered, c.bank[0].fuelError = true, 0 }},
		{"wide-rear", "A wide-range sensor behind the catalyst too.",
			"loop_proven", func(c *Car) { c.wideRear = true }},
		{"wide-scales", "Declares full scales of its own: 32 for lambda, 400 kPa for the manifold. Two banks.",
			"loop_proven", func(c *Car) { vee(c); c.scales = [4]byte{32, 8, 128, 40} }},
		{"wide-obd-on-uds", "A car of today: a wide-range sensor, and SAE J1979-2. Two codes of the evaporative system, each with its freeze frame.",
			"loop_proven", func(c *Car) {
				c.uds = &udsSpec{most: 6}
				c.control.stored = []uint16{0x0456, 0x0442}
			}},
	} {
		all = append(all, build{b.name, b.about, only("not_ready"), func(c *Car) {
			c.wide, c.ByMixture = true, b.byMixture
			b.change(c)
		}})
	}
	return all
}

// raise puts the return of the upstream sensors above the computer's ground.
func (c *Car) raise(v float64) {
	for i := range c.bank {
		c.bank[i].upWire.raised = v
	}
}

// bias sets what the open inputs of the upstream sensors read, in V; below 0: pulled down.
func (c *Car) bias(v float64) {
	for i := range c.bank {
		c.bank[i].upWire.bias = v
	}
}
