package simcar

import (
	"math"
	"testing"
	"time"
)

// ask returns the data bytes of a PID from a car at a time; nil where it has none.
func reported(t testing.TB, car Car, at time.Duration, pid byte) []byte {
	t.Helper()
	s, err := New(Config{Car: car, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	s.car.run(at)
	out := s.car.answer(&engineNode, true, []byte{0x01, pid})
	if len(out) == 0 {
		return nil
	}
	return out[0][2:]
}

// TestMustNotBeTested: what the PIDs tell of cars on which no force counts. Meanings by
// SAE J1979: 01 byte B bit 3 compression ignition; 12 secondary air; 51 fuel (04 diesel,
// 0C bi-fuel running LPG) and 5B hybrid battery from memory; 52 share of alcohol.
func TestMustNotBeTested(t *testing.T) {
	for _, c := range []struct {
		car  string
		at   time.Duration
		pid  byte
		want []byte // nil: it has none
	}{
		{"healthy", 0, 0x51, []byte{0x01}},
		{"healthy", 0, 0x12, nil},
		{"diesel", 0, 0x51, []byte{0x04}},
		{"diesel", 0, 0x06, nil},
		{"diesel", 0, 0x03, nil},
		{"diesel", 0, 0x14, nil},
		{"gas", 0, 0x51, []byte{0x0C}},
		{"secondary-air", 5 * time.Second, 0x12, []byte{0x01}},
		{"secondary-air", 5 * time.Second, 0x03, []byte{openCold, 0}},
		{"engine-off", 5 * time.Second, 0x0C, []byte{0, 0}},
		{"hybrid", 5 * time.Second, 0x0C, []byte{0, 0}},
		{"hybrid", 5 * time.Second, 0x5B, []byte{158}},
		{"start-stop", 70 * time.Second, 0x0C, []byte{0, 0}},
		{"one-control", 5 * time.Second, 0x03, []byte{closed, 0}},
		{"wide-at-a-fifth", 5 * time.Second, 0x34, nil},
	} {
		if got := reported(t, carNamed(t, c.car), c.at, c.pid); string(got) != string(c.want) {
			t.Errorf("%s: PID %02X at %v is % X, want % X", c.car, c.pid, c.at, got, c.want)
		}
	}
	if b := reported(t, carNamed(t, "diesel"), 0, 0x01)[1]; b&0x08 == 0 {
		t.Errorf("diesel: monitors %02X", b)
	}
	// 0.66 V is lambda 1, and it rests there (a maker's training text).
	if v := float64(reported(t, carNamed(t, "wide-at-a-fifth"), 10*time.Second, 0x14)[0]) / 200; math.Abs(v-0.66) > 0.02 {
		t.Errorf("wide at a fifth: %.3f V at rest", v)
	}
	// Refuelled with E85, trim falls as the alcohol is learned.
	flex := carNamed(t, "flex-learning")
	a, b := reported(t, flex, 10*time.Second, 0x52)[0], reported(t, flex, 3*time.Minute, 0x52)[0]
	x, y := reported(t, flex, 10*time.Second, 0x06)[0], reported(t, flex, 3*time.Minute, 0x06)[0]
	if b <= a+20 || y >= x {
		t.Errorf("alcohol %d to %d, trim %d to %d", a, b, x, y)
	}
	// The engine that stops starts again, and answers as before.
	if rpm := reported(t, carNamed(t, "start-stop"), 90*time.Second, 0x0C); rpm[0] == 0 {
		t.Errorf("start-stop stands at 90 s")
	}
}

// TestOpenLevel: with the branch open and nothing touched, the input reads what it is built
// for: 0.40 to 0.55 V on most (workshop texts), 0 V, 1.1 V or the top of the range.
func TestOpenLevel(t *testing.T) {
	for _, c := range []struct {
		car    string
		lo, hi float64
	}{{"healthy", 0.391, 0.55}, {"open-level-zero", 0, 0.01}, {"open-level-high", 1.08, 1.12}, {"pulled-up", 1.275, 1.275}} {
		cfg := Config{Car: carNamed(t, c.car), Seed: 1, BranchByHand: true, Forces: []Force{
			{Kind: ForceOpen, At: 5 * time.Second, For: 20 * time.Second},
			{Kind: ForceLean, At: 10 * time.Second, For: 5 * time.Second},
		}}
		points := trace(t, cfg, 30*time.Second, 100*time.Millisecond)
		at := func(s float64) float64 { return points[int(s*10)].Upstream[0] }
		if at(8) < c.lo || at(8) > c.hi || at(20) < c.lo || at(20) > c.hi {
			t.Errorf("%s: open %.3f and after a force %.3f V, want %.3f to %.3f", c.car, at(8), at(20), c.lo, c.hi)
		}
		if at(13) > 0.01 {
			t.Errorf("%s: grounded %.3f V", c.car, at(13))
		}
	}
	// A source behind 1 kohm against a connected sensor of 100 ohm: the sensor wins (Millman).
	w := wireSpec{}
	if v := w.input(0.1, 100, contact{closed: true, volts: 0.9, ohms: 600}); math.Abs(v-0.21) > 0.01 {
		t.Errorf("fed with the branch closed: %.3f V, want 0.21", v)
	}
}

// TestLettingGo: when and how the computer stops using the sensor in a force, and that trim then
// falls most of its way within about a second.
func TestLettingGo(t *testing.T) {
	for _, c := range []struct {
		car    string
		after  float64 // s
		status byte
	}{{"trim-given-up", 3, closed}, {"trim-given-up-late", 6, closed}, {"sensor-doubted", 6, closedFault}} {
		points := trace(t, Config{Car: carNamed(t, c.car), Seed: 2, Forces: []Force{{Kind: ForceLean, At: 10 * time.Second, For: 12 * time.Second}}},
			60*time.Second, 100*time.Millisecond)
		at := func(s float64) Point { return points[int(s*10)] }
		top, then := at(10 + c.after - 0.2).STFT[0], at(10 + c.after + 1.2).STFT[0]
		if top < 3 || math.Abs(then) > 0.35*top {
			t.Errorf("%s: trim %.1f %%, a second after that %.1f", c.car, top, then)
		}
		if s := at(20).Status[0]; s != c.status {
			t.Errorf("%s: status %02X in the force", c.car, s)
		}
		if s := at(58).Status[0]; s != closed {
			t.Errorf("%s: status %02X half a minute after it", c.car, s)
		}
	}
}

// TestRev: let go from 2700 rpm the fuel is cut, the status is 04 and the reading falls below
// 0.2 V (a maker's workshop manual), then the engine idles in closed loop again.
func TestRev(t *testing.T) {
	points := trace(t, Config{Car: healthy(), Seed: 1, Forces: []Force{{Kind: ForceRev, At: 10 * time.Second, For: 8 * time.Second}}}, 45*time.Second, 100*time.Millisecond)
	cut, low := 0, 1.0
	for _, p := range points[180:] {
		if p.Status[0] == openLoad {
			cut++
		}
		low = min(low, p.Upstream[0])
	}
	if rpm := points[170].RPM; rpm < 2500 || rpm > 3000 {
		t.Errorf("%.0f rpm", rpm)
	}
	if last := points[len(points)-1]; cut < 20 || cut > 80 || low > 0.2 || last.Status[0] != closed || last.RPM > 900 {
		t.Errorf("open for %.1f s, down to %.2f V, then %+v", float64(cut)/10, low, last)
	}
}
