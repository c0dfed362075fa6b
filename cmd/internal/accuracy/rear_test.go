package accuracy

import (
	"flag"
	"testing"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/third"
	"pushback/decode"
	"pushback/obd/simcar"
)

var (
	rearFrom = flag.Uint64("rear-from", 300000, "first seed of TestRearDrives")
	rearMany = flag.Int("rear", 16, "how many drives TestRearDrives judges")
)

// fewer is a quarter of so many trials in a short run.
func fewer(n int) int {
	if testing.Short() {
		return n / 4
	}
	return n
}

// Of cars drawn at random, each driven with cuts and pulls or through town, no sound sensor behind the catalyst is called dead and no
// dead one sound; where the drive asks for it, most are told.
func TestRearDrives(t *testing.T) {
	told, asked := 0, 0
	for i, x := range each(fewer(*rearMany), nil, func(i int) Trial {
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

// Hours of sound cars by other hands, read as for a test of the sensor in front: their catalysts, cuts and full load are a model of
// their own. The sensor behind is dead in none.
func TestRearDrivesOfOthers(t *testing.T) {
	proven := 0
	for i := range fewer(*rearMany) {
		test, records := third.Unforced(*rearFrom + uint64(i))
		j := session.NewJudge(session.Setup{Sensor: decode.SensorID{Bank: 1, Position: 2}, By: analysis.ByFuelCut})
		for _, rec := range records {
			j.Step(rec)
		}
		j.Finish()
		v := j.Verdict()
		t.Logf("seed %d, %s, %.1f readings/s: %s", test.Seed, test.Fault, test.Rate, v.Conclusion)
		for _, p := range v.Proofs {
			if p.State == analysis.Proven {
				proven++
			}
			if p.State == analysis.Failed {
				t.Errorf("seed %d: %s failed, %v\n%v", test.Seed, p.ID, p.Why, j.Reasons())
			}
		}
	}
	t.Logf("%d arcs proven", proven)
	if proven == 0 && !testing.Short() {
		t.Error("no drive showed anything")
	}
}
