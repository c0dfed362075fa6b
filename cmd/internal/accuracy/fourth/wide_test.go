package fourth

import (
	"math"
	"testing"

	"pushback/cmd/internal/accuracy/truth"
)

// The current runs through the points of the sensor maker's table, and between them rises with λ.
func TestPumpCurrent(t *testing.T) {
	for _, p := range pumpTable {
		if got := pumpCurrent(p[0]); math.Abs(got-p[1]) > 1e-9 {
			t.Errorf("λ %.3f: %.3f mA, published %.3f", p[0], got, p[1])
		}
	}
	for l := 0.6; l < 2; l += 0.001 {
		if pumpCurrent(l+0.001) < pumpCurrent(l) {
			t.Errorf("λ %.3f: the current falls", l)
		}
	}
}

// A step is told by its gain, after the delay of its way and with the lag of its way: 63 % after
// one time constant.
func TestWideCell(t *testing.T) {
	w := newWideCell(wideSpec{gain: 0.5, tau: [2]float64{0.1, 0.8}, delay: [2]float64{0.6, 0}, ceiling: 2})
	src := newSource(1, 1)
	run := func(phi, seconds float64) (at63 float64) {
		from := w.shown
		to := 1 + 0.5*(phi-1)
		for s := dt; s <= seconds; s += dt {
			w.step(src, phi)
			if at63 == 0 && math.Abs(w.shown-from) >= 0.632*math.Abs(to-from) {
				at63 = s
			}
		}
		if math.Abs(w.shown-to) > 1e-3 {
			t.Errorf("φ %.2f: %.4f told, want %.4f", phi, w.shown, to)
		}
		return at63
	}
	run(1, 2)
	if s := run(1.1, 8); math.Abs(s-0.7) > 0.03 {
		t.Errorf("towards rich %.2f s, want 0.7", s)
	}
	if s := run(1, 8); math.Abs(s-0.8) > 0.03 {
		t.Errorf("towards lean %.2f s, want 0.8", s)
	}
}

// A sound loop takes the disturbance p out: in the end trim is −p/(1 + p) (worked by hand), and in
// fuel cut λ stands at the car's ceiling with the rear below 0.2 V (a maker's workshop text).
func TestWideLoop(t *testing.T) {
	if testing.Short() {
		t.Skip("draws many cars")
	}
	held, cuts := 0, 0
	for seed := range uint64(90) {
		w, d := drawWide(seed)
		_, seen := w.run(d)
		if w.fault != "sound" {
			continue
		}
		for _, m := range seen {
			if w.by == "fuelcut" {
				cuts++
				if m.shown < 0.8*(1-1/w.cell.ceiling) || !m.rearSays && m.end-m.begin > 4 {
					t.Errorf("seed %d: fuel cut told as φ %.2f off, ceiling λ %.2f, rear %v", seed, m.shown, w.cell.ceiling, m.rearSays)
				}
				continue
			}
			if m.side != "rich" || m.end-m.begin < 14 || m.ramp > 1.5 || len(d.purges)+len(d.loads) > 0 {
				continue
			}
			held++
			want := m.size / (1 + m.size)
			if math.Abs(m.trim-want) > 0.4*want+0.02 {
				t.Errorf("seed %d: %.1f %% more fuel is answered by %.1f %%, want %.1f", seed, 100*m.size, 100*m.trim, 100*want)
			}
		}
	}
	if held < 3 || cuts < 3 {
		t.Errorf("%d holds, %d fuel cuts", held, cuts)
	}
}

func TestWideTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("draws many cars")
	}
	faults := map[string]int{}
	for seed := range uint64(300) {
		w, _ := drawWide(seed)
		faults[w.fault]++
	}
	for seed := range uint64(30) {
		test, list := Wide(seed)
		if len(list) < 20 || len(test.Accepted) == 0 || test.Wide == nil {
			t.Fatalf("seed %d: %d records, %+v", seed, len(list), test)
		}
		for i := 1; i < len(list); i++ {
			if list[i].At < list[i-1].At {
				t.Fatalf("seed %d: time runs back", seed)
			}
		}
		if test.Fault != "sound" {
			continue
		}
		for _, c := range []string{"sensor_dead", "no_command", "input_dead", "no_delivery", "wrong_bank", "sensor_slow", "sensor_skewed"} {
			if test.Outcome(c) != truth.Wrong {
				t.Errorf("seed %d: %s would pass of a sound car", seed, c)
			}
		}
	}
	if len(faults) != len(wideFaults) {
		t.Errorf("faults drawn: %v", faults)
	}
}
