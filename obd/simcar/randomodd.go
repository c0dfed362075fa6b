package simcar

import (
	"math/rand/v2"
	"time"
)

// mayBeOdd has a few of the random cars with wide-range sensors tell lambda late, which changes nothing of what should come of
// it, or burn diesel: where the car tells that it is refused, and where it does not nothing may be said of a loop that is
// not there, so a person is asked. It draws by itself, so that cars are what they were before but for that.
func (c *Car) mayBeOdd(seed uint64, e *Expected, truth *WideTruth) {
	r := dice{rand.New(rand.NewPCG(seed, 0x6F6464))}
	switch x := r.Float64(); {
	case x < 0.03:
		c.lateLambda(&r)
		e.Fault += ", lambda late"
	case x < 0.05:
		c.dieselEngine(&r)
		c.Sensor = c.Sensor[:2] + "S1" // there is none behind
		truth.Gain = 0
		*e = Expected{Fault: "diesel", Conclusion: "not_ready", Length: e.Length}
		if c.untold {
			*e = Expected{Fault: "diesel, untold", Conclusion: "nothing_forced", Also: []string{"not_ready", "unclear"}, Length: e.Length}
		}
	}
}

// lateLambda has lambda come some seconds after the first request; every force is later.
func (c *Car) lateLambda(r *dice) { c.lambdaAfter = r.span(4*time.Second, 20*time.Second) }

// dieselEngine has the car burn diesel, which two of five do not tell.
func (c *Car) dieselEngine(r *dice) {
	c.diesel, c.fuel, c.untold, c.downstream = true, 0x04, r.chance(0.4), false
}

// RandomLate is the car of RandomWide whose lambda comes late, and RandomDiesel the one that burns diesel, whatever the seed draws.
func RandomLate(seed uint64) (Config, Expected, WideTruth) {
	cfg, e, truth := RandomWide(seed)
	cfg.Car.lateLambda(&dice{rand.New(rand.NewPCG(seed, 0x6C617465))})
	return cfg, e, truth
}

// RandomDiesel is the car of RandomWide as a diesel; see RandomLate.
func RandomDiesel(seed uint64) Config {
	cfg, _, _ := RandomWide(seed)
	cfg.Car.dieselEngine(&dice{rand.New(rand.NewPCG(seed, 0x64696573))})
	return cfg
}

// Untold reports whether a diesel does not tell that it is one.
func (c Car) Untold() bool { return c.untold }
