package analysis

import (
	"math"

	"pushback/analysis/reason"
	"pushback/analysis/recent"
)

// lagging is what the swings of the sensor between forces tell about its lag.
type lagging struct {
	swings  swings
	strokes strokes
	lo, hi  float64 // V, the ends of what the sensor read by itself
}

// A healthy cell goes from 0.3 to 0.6 V within 0.1 s (a trade page on sensor verification), or in 0.05 to 0.10 s to lean and in 0.075 to
// 0.15 s to rich (a trade article of 2007); from 0.15 s a lag of 0.19 s follows. What cylinders and pipe have blended comes on top: 0.25 s
// in all, 0.12 s more or less (common practice, no source), and the filter of input and port, which the edge of the held wire shows. A
// loop that leads the mixture through the cell's step slowly adds 0.3 s for each second that trim needs for 1 %, give or
// take half of that (the step is about half a per cent wide with the breath of the cylinders): found on simulated cars.
const (
	soundLag, soundLagSD         = 0.25, 0.12
	lagPerStroke, lagPerStrokeSD = 0.3, 0.15
	lagPerFilter                 = 0.5  // of its lag: two in a row add up to less than their sum in the least that two readings need
	lagPerRefresh                = 0.25 // of the time from one different reading to the next: what swings as fast as that folds
	lagPerSwing                  = 0.5  // by how many there are, s, and more where the loop leads it slowly: few may all have met a slow mixture
	seldomRead                   = 0.35 // s: a sound sensor is through between two readings, and a loop that cycles as fast is nothing but folded
	longestLag                   = 4.0  // s: what takes longer is the mixture
	fullRange                    = 0.6  // V: of a cell that is not flat
	blendsSD                     = 0.2  // s: how much more than usual some intakes blend (common practice, no source)
	enoughSwings                 = 2
	slowMixture                  = 0.1 // of the swings may meet a mixture that goes as slowly by itself (common practice, no source)
	enoughStrokes                = 3
	foldedFrom                   = 2.5  // strokes of trim, in the time of a swing, at the rate of a force: those of a faster cycle, folded
	enoughFresh                  = 2.5  // different readings in a swing: fewer may be a faster one, folded
	unknownStroke                = 10.0 // s for 1 %: slower than any loop that is worth calling alive
	slowLimit                    = 6.9  // logarithm of the likelihood ratio, once in 1000
	// A lag with which a cell takes 1 s from 0.6 to 0.3 V, where a healthy one takes 0.1 s and a half worn one less than 1 s in all (as
	// above). About one sensor in forty has a longer one (common practice, no source), so a ring in which that is not excluded is not proven.
	lagToExclude = 1.3
)

// lagWeight is what is known of the sensor's lag, s.
type lagWeight struct {
	slow float64 // logarithm of the likelihood of the lag that fits best against that of a sound sensor; 0: not known, or none longer
	side [2]lagSide
	size lagSize    // where no side is known
	most [2]float64 // s: the longest lag with which the swings to a side agree, whatever made them; 0: there was none
}

// lagSize is the lag, s, that would make so many swings as small as they are; 0: not known.
type lagSize struct {
	swings int
	lag    float64
}

// lagSide is the same of the swings to one side, 0 rich, 1 lean.
type lagSide struct {
	swings int
	lo, hi float64 // s: lags that are not excluded
	known  bool
}

// portLag is what the filters of the computer's input and of the port add to a lag, s.
type portLag struct{ lo, hi float64 }

// unknownPort is that of a port whose edges were not seen.
var unknownPort = portLag{0, 0.6}

// portLag takes it from the edge at which the wire was held: from 0.3 V and more away from the held level to within 0.1 V of it.
func (c *assessment) portLag() portLag {
	best := unknownPort
	for _, f := range c.forces {
		if f.bank != c.w.bank || c.w.cfg.By == ByMixture {
			continue // no edge of this port
		}
		v := &c.w.volts.volts
		j := v.From(f.beginLo)
		for j < v.Len() && v.At(j).T() < f.beginHi+longestApproach && abs(v.At(j).V-f.level) > 0.1 {
			j++
		}
		i := j - 1
		for i >= 0 && i < v.Len() && abs(v.At(i).V-f.level) < 0.3 {
			i--
		}
		if i < 0 || j >= v.Len() || abs(v.At(j).V-f.level) > 0.1 || v.At(j).T()-v.At(i).T() > longestApproach {
			continue
		}
		a, b := v.At(i), v.At(j)
		k := math.Log(abs(a.V-f.level) / max(abs(b.V-f.level), 0.02))
		if hi := (b.Hi - a.Lo + c.w.volts.renewed) / k; hi < best.hi {
			best = portLag{max(0, b.Lo-a.Hi-c.w.volts.renewed) / k, hi}
		}
	}
	return best
}

// volts takes a reading of the watched sensor.
func (l *lagging) addVolts(p recent.Reading, own bool, k *track) {
	if !own {
		l.swings.broken()
		return
	}
	if l.hi == 0 {
		l.lo, l.hi = p.V, p.V
	}
	l.lo, l.hi = min(l.lo, p.V), max(l.hi, p.V)
	l.swings.addVolts(p, k.renewed, k.scatter.half)
}

func (l *lagging) addTrim(p recent.Reading, held bool) {
	if held {
		l.strokes.broken()
		return
	}
	l.strokes.addTrim(p)
	l.swings.meanwhile.add(p.V)
}

// weigh weighs a slow sensor against a sound one. rates are how fast trim answered, towards rich and towards lean, % a second, 0 if it did
// not; interval how often is read, s. What both sides show adds up.
func (l *lagging) weigh(rates [2]float64, interval, renewed float64, port portLag) lagWeight {
	var w lagWeight
	stroke, creep, length, n := l.strokes.typical()
	for side, rate := range rates {
		// Where the computer jumps as the sensor changes side, its strokes are quick in their middle, but the mixture may go through the cell's
		// step beside the jump, as slowly as trim answers a force to that side, or creeps on at rest: either is as likely.
		slowly := unknownStroke
		switch {
		case rate > 0:
			slowly = 1 / rate
		case n >= enoughStrokes:
			slowly = creep
		}
		ways := []float64{slowly}
		if n >= enoughStrokes {
			ways = append(ways, stroke)
		}
		x, n := l.swings.typical(side)
		w.side[side].swings = n
		w.most[side] = x.hi
		if n < enoughSwings || x.fresh < enoughFresh || x.lag > longestLag || interval > seldomRead || rate*x.took > foldedFrom*length && length > 0 {
			continue
		}
		read := max(x.hi-x.lag, x.lag-x.lo) / 2
		likely, lo := 0.0, x.lag
		for _, stroke := range ways {
			sound := soundLag + lagPerFilter*(port.lo+port.hi)/2 + lagPerRefresh*renewed + lagPerStroke*stroke
			sd := math.Hypot(math.Hypot(math.Hypot(soundLagSD, (port.hi-port.lo)/4), lagPerStrokeSD*stroke), math.Hypot(math.Hypot(lagPerRefresh*max(interval, renewed), lagPerSwing*max(1, stroke)/float64(n)), read))
			z := max(0, (x.lag-sound)/sd)
			likely += math.Exp(-z*z/2) / float64(len(ways))
			lo = min(lo, max(0, x.lag-sound-2*sd))
		}
		w.slow -= math.Log(max(likely+(1-likely)*math.Pow(slowMixture, float64(n)), 1e-12))
		w.side[side] = lagSide{swings: n, lo: lo, hi: x.lag + 2*read, known: true}
	}
	if !w.side[0].known && !w.side[1].known {
		w.slow, w.size = l.bySize(min(rates[0], rates[1]), interval, renewed, port)
	}
	return w
}

// bySize is the same of swings so small that none tells a lag by itself, on a sensor whose ends are known, since it was there by itself, as
// after a release: as far as trim meanwhile takes a sound cell, it swings. The mixture at the cell swings less than trim by what blends it.
// Trim that goes by this sensor goes on for as long as a swing lasts, at the rate at which it answers a force; where it went less far, it
// turned in between, or rested, and the swings are others.
func (l *lagging) bySize(rate, interval, renewed float64, port portLag) (slow float64, size lagSize) {
	full := l.hi - l.lo
	x, n, ok := l.swings.attenuated(full)
	if !ok || full < fullRange || x.fresh < enoughFresh || max(x.lag, x.took) > longestLag || interval > seldomRead || rate == 0 || rate*x.took > x.trim {
		return 0, size
	}
	sound := soundLag + (port.lo+port.hi)/2
	sd := math.Hypot(math.Hypot(math.Hypot(soundLagSD, blendsSD), (port.hi-port.lo)/4), math.Hypot(math.Hypot(lagPerRefresh*max(interval, renewed), lagPerSwing/float64(n)), (x.hi-x.lo)/2))
	z := max(0, (x.lag-sound)/sd)
	return min(z*z/2, -math.Log(1e-12)), lagSize{n, x.lag}
}

// tells reports whether the swings tell a slow sensor. That they are small tells it only where the mixture is known to follow trim.
func (w lagWeight) tells(delivered bool) bool {
	return w.slow >= slowLimit && (w.size.lag == 0 || delivered)
}

// sound reports whether the swings exclude a lag so long that a report came late by it.
func (w lagWeight) sound() bool {
	for _, s := range w.side {
		if s.known && s.hi < 1 {
			return true
		}
	}
	return false
}

// maybeSlow reports whether the swings to a side leave a slow sensor's lag open, and the longest with which they agree, s; 0: there was none.
func (w lagWeight) maybeSlow() (side Side, lag float64, open bool) {
	for i, most := range w.most {
		if side = [2]Side{Rich, Lean}[i]; most == 0 || most > lagToExclude {
			return side, most, true
		}
	}
	return "", 0, false
}

// reasons says what is not excluded of the lag. A car that never went to a side by itself has nothing to say of it.
func (w lagWeight) reasons(add func(reason.Reason)) {
	told := w.size.lag > 0
	if told {
		add(reason.SmallSwings.Of(w.size.swings, w.size.lag))
	}
	for i, to := range []Side{Rich, Lean} {
		switch s := w.side[i]; {
		case s.known:
			add(reason.OwnSwings.Of(to, s.swings, s.lo, s.hi))
			told = true
		case s.swings > 0 && !told:
			add(reason.FewSwings.Of(to, s.swings))
		}
	}
	if told {
		add(reason.SlowWeight.Of(w.slow, slowLimit))
	}
}
