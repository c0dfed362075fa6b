package simcar

import (
	"math/rand/v2"
	"time"
)

// RandomRear returns a car drawn at random, sound but for the sensor behind the catalyst in every other one, in a drive with full
// load and long fuel cuts or through town, and what a drive that is judged by that sensor should come to. Equal seeds give equal
// cars; they are drawn apart, so the other cars of a seed are as they were.
func RandomRear(seed uint64) (Config, Expected) {
	cfg := RandomSound(seed)
	c := &cfg.Car
	r := dice{rand.New(rand.NewPCG(seed, 0x72656172))}
	c.downstream, c.Sensor = true, "B1S2"
	i := 0
	if c.engine.banks == 2 && r.chance(0.5) {
		i, c.Sensor = 1, "B2S2"
	}
	cfg.Drive = Pulls
	exp := Expected{Fault: "sound", Conclusion: "partly_proven", Also: []string{"unclear"}, Length: 150 * time.Second}
	if r.chance(0.4) {
		cfg.Drive, exp.Length = Town, 6*time.Minute
		exp.Also = append(exp.Also, "nothing_forced")
	}
	b := &c.bank[i]
	b.down.toRich, b.down.toLean = r.between(0.1, 0.5), r.between(0.1, 0.4)
	b.down.kelvin, b.down.output = r.between(800, 1100), r.between(0.9, 1)
	stick := func(fault string, v float64) {
		exp.Fault, b.down.stuck, b.down.stuckAt = fault, true, v
	}
	switch r.IntN(6) {
	case 0:
		stick("stuck rich", r.between(0.6, 0.9))
	case 1:
		stick("stuck lean", r.between(0.02, 0.15))
	case 2:
		exp.Fault, b.downWire.sensorOpen = "wire open", true
	}
	if exp.Fault != "sound" {
		exp.Conclusion = "sensor_dead"
	}
	return cfg, exp
}
