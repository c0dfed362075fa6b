package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pushback/analysis/recent"
)

// How long a reading must stay on the side after a release: not for ever because one stay in
// many was long, or because few were seen. (Common practice, no source. Two stays, by hand: half of the time on the side, and
// (9 s/(9 s + t))³ of the stays that outlast t, make one in twenty at 10.4 s.)
func TestStayNeeded(t *testing.T) {
	for _, c := range []struct {
		name     string
		stays    []float64 // s, at rest
		min, max float64
	}{
		{"none was seen", nil, 0.5, 0.5},
		{"two of a slow loop", []float64{3.5, 4}, 10.3, 10.5},
		{"many alike", []float64{0.9, 1.1, 1, 0.9, 1.1, 1, 0.9, 1.1, 1, 1}, 1, 3},
		{"one long among many", []float64{1, 1, 1, 1, 1, 1, 1, 1, 1, 30}, 1, 4},
	} {
		b := voltsBase{n: 100, seconds: 20, changes: 10, interval: 0.1, shareRich: 0.5, rich: staysOf(c.stays)}
		r := release{expect: Rich}
		if got := r.stayNeeded(b); got < c.min || got > c.max {
			t.Errorf("%s: %.2f s, want %g to %g", c.name, got, c.min, c.max)
		}
	}
}

// A sensor that swings by itself, whatever trim does, is on the side as a wire is let go and stays there for long enough no more often than
// once in twenty; twice as often where its stays have no memory and few were seen, which no real loop's are.
func TestSwingingSaysSeldom(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 4000
	for _, shape := range []int{1, 2, 4} {
		for _, seen := range []int{3, 6, 20} {
			says := 0
			for range n {
				rates := [2]float64{gamma(rng, shape, usualStay), gamma(rng, shape, usualStay)} // of lean and rich stays
				var rest []float64
				on, all := 0.0, 0.0
				for range seen {
					lean, rich := gamma(rng, shape, rates[0]), gamma(rng, shape, rates[1])
					rest, on, all = append(rest, rich), on+rich, all+lean+rich
				}
				slices.Sort(rest)
				b := voltsBase{n: 100, seconds: all, changes: 2 * seen, interval: 0.01, shareRich: on / all, rich: staysOf(rest)}
				r := release{expect: Rich}
				// Let go at any time of many swings.
				until := 200 * (float64(shape)/rates[0] + float64(shape)/rates[1]) * rng.Float64()
				side, left := 0, 0.0
				for at := 0.0; at < until; side = 1 - side {
					stay := gamma(rng, shape, rates[side])
					if at += stay; at >= until {
						left = at - until
						break
					}
				}
				if side == 1 && left >= r.stayNeeded(b) {
					says++
				}
			}
			most := ownStay + 0.01
			if shape == 1 {
				most = 2 * ownStay
			}
			if share := float64(says) / n; share > most {
				t.Errorf("shape %d, %d stays seen: %.3f", shape, seen, share)
			}
		}
	}
}

// What a release says of the link from trim to the mixture when the mixture was moved.
func TestWhatAReleaseSaysOfDelivery(t *testing.T) {
	at := func(s float64) recent.Reading { return recent.Reading{Lo: s, Hi: s} }
	for _, c := range []struct {
		name                             string
		r                                release
		says, withTrim, denies, outlasts bool
	}{
		{"reported, and left as trim had gone back",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: 0.1, lastOn: at(9)}, true, true, false, false},
		{"reported, and left long before",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: 0.9, lastOn: at(3)}, false, false, true, false},
		{"reported, and stayed long after",
			release{state: sensorSays, trimMade: 10, left: true, stillLeft: -0.8, lastOn: at(30)}, true, false, false, false},
		{"reported, and stayed until trim was far on the other side",
			release{state: sensorSays, trimMade: 6, left: true, stillLeft: -5.6, lastOn: at(26)}, true, false, false, true},
		{"came late",
			release{state: sensorVague, trimMade: 10, lastOff: at(3)}, false, false, true, false},
		{"came at once, but not for long enough to say",
			release{state: sensorVague, trimMade: 10, left: true, stillLeft: 0.4, lastOff: at(0.4), lastOn: at(3)}, false, false, false, false},
		{"crossed the side as it was let go",
			release{state: sensorVague, trimMade: 10, left: true, stillLeft: 1, lastOn: at(0.3)}, false, false, false, false},
		{"trim had hardly moved",
			release{state: sensorNotYet, trimMade: 2, lastOff: at(3)}, false, false, false, false},
	} {
		if c.r.says() != c.says || c.r.leftWithTrim() != c.withTrim || c.r.denies(0.2) != c.denies || c.r.outlasted() != c.outlasts {
			t.Errorf("%s: says %v, with trim %v, denies %v, outlasted trim %v", c.name, c.r.says(), c.r.leftWithTrim(), c.r.denies(0.2), c.r.outlasted())
		}
	}
}

// Trim that goes back to its middle has not shown that it goes beyond, however long the hold:
// a computer that cannot add, or cut, is never believed to.
func TestBackToTheMiddleProvesNothing(t *testing.T) {
	for _, c := range []struct {
		proof ProofID
		force func(at, length float64) hold
		base  float64
	}{{ProofAddsFuel, lean, 0.94}, {ProofCutsFuel, rich, 1.06}} {
		seen := map[State]int{}
		for length := 7.0; length <= 20; length += 0.5 { // it takes 6 s to the middle
			p := healthy()
			p.base, p.ramp, p.jump, p.marks = c.base, 1, 0, true
			p.cutsOnly, p.addsOnly = c.proof == ProofAddsFuel, c.proof == ProofCutsFuel
			p.forces = []hold{c.force(40, length)}
			w, _ := p.run(Config{})
			q := proofIn(w.Verdict(), c.proof)
			seen[q.State]++
			if q.State == Proven {
				t.Errorf("%s, held for %g s: %v", c.proof, length, q.Why)
			}
		}
		if seen[Unclear] == 0 || seen[Failed] == 0 {
			t.Errorf("%s: %v", c.proof, seen)
		}
	}
}

// The mixture does not follow trim but swings by itself: what one release seems to show,
// another takes back.
func TestOneReleaseTakesBackAnother(t *testing.T) {
	for _, c := range []struct {
		name  string
		rich  float64 // until when it is rich after the rich force, s
		state State
	}{{"lean after the rich force too", 0, Proven}, {"rich after both", 95, Unclear}} {
		p := healthy()
		p.noDelivery, p.base, p.downstream, p.marks, p.seconds = true, 1, false, true, 130
		p.disturbance = func(at float64) float64 {
			d := 0.012 * math.Sin(2*math.Pi*at/1.7)
			switch {
			case at > 38.6 && at < 47, at > 78.6 && at < c.rich:
				d -= 0.03
			case at > 78.6 && at < 87:
				d += 0.03
			}
			return d
		}
		w, _ := p.run(Config{})
		if q := proofIn(w.Verdict(), ProofDelivery); q.State != c.state {
			t.Errorf("%s: %s, %v", c.name, q.State, q.Why)
			t.Log(w.Reasons())
		}
	}
}

func proofIn(v Verdict, id ProofID) Proof {
	return v.Proofs[slices.IndexFunc(v.Proofs, func(p Proof) bool { return p.ID == id })]
}
