package analysis

import "testing"

// How long a reading must stay on the side after a release: not for ever because one stay in
// many was long, or because few were seen. (Common practice, no source.)
func TestStayNeeded(t *testing.T) {
	for _, c := range []struct {
		name     string
		stays    []float64 // s, at rest
		min, max float64
	}{
		{"none was seen", nil, 0.5, 0.5},
		{"two of a slow loop", []float64{3.5, 4}, 15, 16},
		{"many alike", []float64{0.9, 1.1, 1, 0.9, 1.1, 1, 0.9, 1.1, 1, 1}, 1, 3},
		{"one long among many", []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 30}, 1, 4},
	} {
		b := voltsBase{n: 100, seconds: 20, changes: 10, interval: 0.1, rich: staysOf(c.stays)}
		r := release{expect: Rich}
		if got := r.stayNeeded(b); got < c.min || got > c.max {
			t.Errorf("%s: %.2f s, want %g to %g", c.name, got, c.min, c.max)
		}
	}
}

// What a release says of the link from trim to the mixture when the mixture was moved.
func TestWhatAReleaseSaysOfDelivery(t *testing.T) {
	at := func(s float64) point { return point{lo: s, hi: s} }
	for _, c := range []struct {
		name                   string
		r                      release
		says, withTrim, denies bool
	}{
		{"reported, and left as trim had gone back",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: 0.1, lastOn: at(9)}, true, true, false},
		{"reported, and left long before",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: 0.9, lastOn: at(3)}, false, false, true},
		{"reported, and stayed long after",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: -0.8, lastOn: at(30)}, true, false, false},
		{"came late",
			release{state: sensorVague, trimMade: 10, lastOff: at(3)}, false, false, true},
		{"came at once, but not for long enough to say",
			release{state: sensorVague, trimMade: 10, left: true, stillLeft: 0.4, lastOff: at(0.4), lastOn: at(3)}, false, false, false},
		{"crossed the side as it was let go",
			release{state: sensorVague, trimMade: 10, left: true, stillLeft: 1, lastOn: at(0.3)}, false, false, false},
		{"trim had hardly moved",
			release{state: sensorNotYet, trimMade: 2, lastOff: at(3)}, false, false, false},
	} {
		if c.r.says() != c.says || c.r.leftWithTrim() != c.withTrim || c.r.denies(0.2) != c.denies {
			t.Errorf("%s: says %v, with trim %v, denies %v", c.name, c.r.says(), c.r.leftWithTrim(), c.r.denies(0.2))
		}
	}
}
