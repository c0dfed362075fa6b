package accuracy

import (
	"flag"
	"testing"

	"pushback/analysis"
	"pushback/obd/simcar"
)

var (
	rearFrom = flag.Uint64("rear-from", 300000, "first seed of TestRearDrives")
	rearMany = flag.Int("rear", 16, "how many drives TestRearDrives judges")
)

// Of cars drawn at random, each driven with cuts and pulls or through town, no sound sensor behind the catalyst is called dead and no
// dead one sound; where the drive asks for it, most are told.
func TestRearDrives(t *testing.T) {
	told, asked := 0, 0
	for i, x := range each(*rearMany, nil, func(i int) Trial {
		cfg, exp := simcar.RandomRear(*rearFrom + uint64(i))
		return runBy(cfg, exp, false, string(analysis.ByFuelCut))
	}) {
		cfg, _ := simcar.RandomRear(*rearFrom + uint64(i))
		c := string(x.Verdict.Conclusion)
		t.Logf("seed %d, %s, %v, %.1f readings/s, drive %d: %s", x.Seed, x.Expected.Fault, x.Bus, x.Rate, cfg.Drive, c)
		if sound := x.Expected.Fault == "sound"; x.Err != nil || sound && c == "sensor_dead" || !sound && c == "partly_proven" {
			t.Errorf("seed %d, %s: %s, %v\n%v", x.Seed, x.Expected.Fault, c, x.Err, x.Reasons)
		}
		if cfg.Drive == simcar.Pulls {
			asked++
			if c == x.Expected.Conclusion {
				told++
			}
		}
	}
	if t.Logf("%d of %d drives with cuts and pulls are told", told, asked); told*4 < asked*3 {
		t.Errorf("%d of %d drives with cuts and pulls are told", told, asked)
	}
}
