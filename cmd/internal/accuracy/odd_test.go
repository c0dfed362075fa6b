package accuracy

import (
	"testing"

	"pushback/obd/simcar"
)

// Of random cars whose lambda comes late each is known for a wide-range one as soon as it comes, by mixture and by wire.
func TestLateLambda(t *testing.T) {
	wrong := 0
	for _, x := range each(fewer(12), nil, func(i int) Trial {
		cfg, exp, truth := simcar.RandomLate(310000 + uint64(i))
		x := runBy(cfg, exp, true, truth.By)
		w := truth
		x.Wide = &w
		return x
	}) {
		t.Logf("seed %d, %s, by %s, %.1f readings/s: %s of %s, %v", x.Seed, x.Expected.Fault, x.Wide.By, x.Rate, x.Verdict.Conclusion, x.Expected.Conclusion, x.Expected.Also)
		if n := len(x.Verdict.Proofs); x.Err != nil || n != 9 {
			t.Errorf("seed %d: %d arcs, a wide-range sensor has 9; %v", x.Seed, n, x.Err)
		}
		if x.Wrong() {
			wrong++
			t.Logf("wrong: %v", x.Reasons)
		}
	}
	if wrong > 1 {
		t.Errorf("%d wrong", wrong)
	}
	for seed := range uint64(3) {
		cfg, exp, _ := simcar.RandomLate(310100 + seed)
		cfg.Car.Sensor = "B1S1"
		if x := runBy(cfg, exp, true, "wire"); x.Verdict.Conclusion != "not_ready" {
			t.Errorf("by wire, seed %d: %s", x.Seed, x.Verdict.Conclusion)
		}
	}
}

// A diesel that tells it is refused; of one that does not nothing is said of a loop, neither good nor bad.
func TestDiesels(t *testing.T) {
	for i, x := range each(fewer(16), nil, func(i int) Trial {
		cfg := simcar.RandomDiesel(320000 + uint64(i))
		by := []string{"mixture", "wire", "mixture", "fuelcut"}[i%4]
		cfg.Car.Sensor = "B1S1"
		return runBy(cfg, simcar.Expected{Fault: "diesel", Length: 150e9}, i%2 == 0, by)
	}) {
		untold := simcar.RandomDiesel(x.Seed).Car.Untold()
		c := string(x.Verdict.Conclusion)
		t.Logf("seed %d, untold %v, %d: %s", x.Seed, untold, i%4, c)
		if !untold && c != "not_ready" || c != "not_ready" && c != "nothing_forced" && c != "unclear" {
			t.Errorf("seed %d, untold %v: %s\n%v", x.Seed, untold, c, x.Reasons)
		}
	}
}
