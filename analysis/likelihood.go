package analysis

import (
	"math"

	"pushback/analysis/limits"
)

// What a stretch of readings would look like if nobody held the signal, against what it would
// look like if a wire did: each function here is one part of that comparison, as the logarithm
// of a likelihood or of a ratio of two. They are added up in weigh.go; none of them decides.

// outlasts is the probability that a stay of the sensor's own lasts for longer than secs.
//
// A sensor that cycles is an alternating renewal process (D. R. Cox, Renewal Theory, 1962). Its
// stays follow a gamma law of the given shape, of which n with the sum total (s) were seen; the
// rate has its conjugate prior, worth one stay of usualStay. What is then to be expected of
// the next stay is the compound gamma law (S. D. Dubey, Metrika 16, 1970), whose tail is the
// heavier the fewer stays were seen.
func outlasts(secs float64, n int, total float64, shape int) float64 {
	k := max(shape, 1)
	a, b := float64(k*(n+1)), total+usualStay
	x := secs / (secs + b)
	// 1 − I_x(k, a), the incomplete beta function, k being whole.
	term, sum := 1.0, 1.0
	for j := 1; j < k; j++ {
		term *= x * (a + float64(j) - 1) / float64(j)
		sum += term
	}
	return math.Exp(a*math.Log1p(-x)) * sum
}

// usualStay is the stay of a car of which nothing is known, s (half the period of slow loops at
// idle, 1 to 6 s; measured on recordings of real cars).
const usualStay = 1.5

// excursionLasts is the probability that the real mixture, once it has left the loop's own
// cycle (tank vapour, a gust of air, load), keeps a sensor to one side for longer than secs.
// A log-logistic law: of the long stays of real cars half last 4 s, one in five 7 s, one in a
// hundred 24 s (measured on recordings of real cars).
func excursionLasts(secs float64) float64 { return 1 / (1 + math.Pow(secs/4, 2.5)) }

// excursionReaches is how much less often it goes on although the loop has taken moved (%) out of it within secs, than on
// the cars of excursionLasts, whose loops take out some 0.6 % a second (their median slope): it has to be larger than that.
// Half of them exceed 8 % (purge moves trim by some 10 %, from memory), with a tail.
func excursionReaches(moved, secs float64) float64 {
	larger := func(x float64) float64 { return 1 / (1 + math.Pow(x/8, 2)) }
	return min(1, larger(moved)/larger(0.6*secs))
}

// logBeta is ln B(a, b).
func logBeta(a, b float64) float64 {
	x, _ := math.Lgamma(a)
	y, _ := math.Lgamma(b)
	z, _ := math.Lgamma(a + b)
	return x + y - z
}

// quiet is the log-probability that now of pairs readings follow the one before within two counts, where
// this sensor's own readings did so alike times in seen, in so many stays. Quiet spells come in stays, so what
// was seen is worth no more than the number of stays: a beta-binomial law, without its number of orders.
func quiet(now, pairs, alike, seen, stays int) float64 {
	if pairs <= 0 {
		return 0
	}
	worth := float64(min(seen, stays, 20))
	share := 0.5
	if seen > 0 {
		share = float64(alike) / float64(seen)
	}
	a, b := 1+worth*share, 0.5+worth*(1-share)
	return logBeta(a+float64(now), b+float64(pairs-now)) - logBeta(a, b)
}

// levelWidth is the width of the band about a level whose probability is compared, V: five counts.
const levelWidth = 0.025

// heldLevel is the probability that a wire held to the side is read within levelWidth of v. Most
// are grounded well, or fed by a source of about 0.9 V; through resistance, from a weak source or with
// a raised return it may be read anywhere on the side.
func heldLevel(side Side, v float64) float64 {
	if side == Lean {
		return 0.7*within(v, -0.01, 0.02) + 0.3*levelWidth/0.4
	}
	return 0.65*within(v, 0.91, 0.06) + 0.35*levelWidth/0.75
}

// freeLevel is the probability that the real mixture takes the sensor within levelWidth of v and
// leaves it there. share is the part of its own readings on the side that lie there, of stays many stays; end
// the extreme that it reaches by itself; settled: it has stayed there for long enough to have reached its
// full swing. Beyond that a strong mixture takes a cell further, by some 30 mV rich and 12 mV lean (thermodynamic
// equilibrium at 900 K: 0.875 V at λ 0.98 and 0.944 V at 0.90, 0.077 V at 1.02 and 0.048 V at 1.10); one that cycles
// quickly may not have reached its full swing, which is one of those that hot and less hot cells have.
func freeLevel(side Side, v, share float64, stays int, end float64, settled bool) float64 {
	step, out, full := 0.03, v-end, within(v, 0.87, 0.05)
	if side == Lean {
		step, out, full = 0.012, end-v, within(v, 0.06, 0.03)
	}
	beyond := laplace(out, 0.03, step)
	if side == Lean && v < levelWidth/2 { // what would be lower reads zero
		beyond = 0.5 * math.Exp(-max(0, end-levelWidth/2)/step)
	}
	if out > 0 {
		further := 0.5
		if settled {
			further = 0.1
		}
		beyond += further * (full - beyond)
	}
	p := (float64(stays)*share + 2*beyond) / float64(stays+2)
	return max(p, 0.4*beyond) + 0.02*levelWidth/0.8
}

// openLevel is the probability that an input whose branch is open is read within levelWidth of v: most lie at a bias
// of 0.35 to 0.55 V, others at 0 V, at 1.1 V or at the top of the range (found on makers' computers).
func openLevel(v float64) float64 {
	switch {
	case v < levelWidth/2:
		return 0.2
	case v >= limits.NeutralLow && v <= limits.NeutralHigh:
		return 0.6 * levelWidth / 0.2
	case v >= 1.27:
		return 0.1
	case v >= 1.05:
		return 0.1 * levelWidth / 0.22
	}
	return 0.01 * levelWidth
}

// laplace is the probability within levelWidth of x under a two-sided exponential law.
func laplace(x, inward, outward float64) float64 {
	scale := outward
	if x < 0 {
		scale = inward
	}
	return levelWidth / (inward + outward) * math.Exp(-abs(x)/scale)
}

// within is the probability within levelWidth of v under a normal law; what lies below zero
// reads zero.
func within(v, mean, sd float64) float64 {
	lo, hi := (v-levelWidth/2-mean)/sd, (v+levelWidth/2-mean)/sd
	if v <= levelWidth/2 {
		lo = math.Inf(-1)
	}
	return (math.Erf(hi/math.Sqrt2) - math.Erf(lo/math.Sqrt2)) / 2
}

// drift is how much the mixture moves by itself while the loop's own work is taken off, % in the
// root of a second: either hardly or as a purge valve does (from memory).
var drift = [2]float64{0.2, 1}

// cellSlopes are by how much a cell's reading moves with 1 % of fuel, V, and how likely each is: 3 to 12 mV
// rich and 2 to 6 mV lean by thermodynamic equilibrium at 700 to 1000 K, less on flat cells.
var cellSlopes = [...]struct{ slope, p float64 }{{0.001, 0.10}, {0.002, 0.25}, {0.004, 0.30}, {0.007, 0.25}, {0.012, 0.10}}

// follows is ln p(move | cell) − ln p(move | wire), where the reading has moved by move (V) while
// trim moved by trim (%) within secs, and err (V) is how well move is known. On real mixture a cell
// goes with trim, and with what the mixture does by itself; a wire stands still, or slides a little where
// the contact is poor. clipped: the input shows nothing beyond this level, so it cannot go with anything.
func follows(move, trim, secs, err float64, clipped bool) float64 {
	flat := 0.05
	if clipped {
		flat = 0.6
	}
	cell := flat*normal(move, err) + 0.05*normal(move, 0.03) // or something else that moves a cell
	for _, c := range cellSlopes {
		for _, d := range drift {
			cell += (0.95 - flat) * c.p / float64(len(drift)) * normal(move-c.slope*trim, math.Hypot(err, c.slope*d*math.Sqrt(secs)))
		}
	}
	wire := 0.85*normal(move, err) + 0.15*normal(move, math.Hypot(err, 0.02))
	return math.Log(cell+1e-12) - math.Log(wire+1e-12)
}

// normal is the density of a normal law about zero.
func normal(x, sd float64) float64 {
	x /= sd
	return math.Exp(-x*x/2) / (sd * math.Sqrt(2*math.Pi))
}

// sharp is ln p(edge | cell) − ln p(edge | wire), for an edge across the middle that had so many readings in
// it, with gap (s) between readings. A cell takes the mixture's way and its own time to cross, some 0.15 s (a
// trade figure: 0.05 to 0.15 s, and as much again for the gas to mix); a wire does not, though its contact may bounce. clean
// of own crossings of this sensor, on this port, showed no reading in between: what is refreshed
// seldom or filtered looks the same for both.
func sharp(between int, gap float64, clean, own int) float64 {
	none := (float64(clean) + 4*math.Exp(-0.15/max(gap, 0.01))) / float64(own+4)
	wire := 0.65 + 0.35*none
	if between == 0 {
		return math.Log(none / wire)
	}
	return math.Log((1 - none) / (1 - wire))
}

// logSum is ln Σ exp x.
func logSum(x ...float64) float64 {
	top := math.Inf(-1)
	for _, v := range x {
		top = max(top, v)
	}
	if math.IsInf(top, -1) {
		return top
	}
	sum := 0.0
	for _, v := range x {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum)
}
