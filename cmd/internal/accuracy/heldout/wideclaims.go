package heldout

import (
	"math"
	"slices"

	"pushback/cmd/internal/accuracy/truth"
)

// apart is how far a forced car's trim has gone from its twin's.
type apart struct {
	commanded, told float64
	answer          float64 // %, the most against the force
	shown           float64 // φ as read, the most with the force
}

// wideJudge decides the truth of a test by mixture or fuel cut.
type wideJudge struct {
	judge
	apart []apart
}

func (j *wideJudge) compare(twin *car) {
	a, b, t := j.car.banks[0], twin.banks[0], j.car.t
	for i := range j.holds {
		h, x := &j.holds[i], &j.apart[i]
		if t < h.begin || t >= h.end {
			continue
		}
		dir := toward(h.side)
		by := (a.short + a.long - b.short - b.long) * dir
		if by > 0.15 && x.commanded == 0 {
			x.commanded = t
		}
		x.answer = max(x.answer, by)
		x.shown = max(x.shown, (1/b.wide.reads-1/a.wide.reads)*dir)
	}
}

// told is called when a record with the trim went out: shown is what a port of the twin would not show.
func (j *wideJudge) told(at float64) {
	for i := range j.holds {
		x := &j.apart[i]
		if x.commanded > 0 && x.told == 0 && at < j.holds[i].end && (j.port.trims[0]-j.port.plain)*toward(j.holds[i].side) > 0.1 {
			x.told = at
		}
	}
}

// decide fills in the truth; doc.go has the rules.
func (j *wideJudge) decide() {
	b := j.car.banks[0]
	w := b.wide
	j.rest()
	j.held = map[string]int{}
	sd := j.own()
	both := slices.ContainsFunc(j.holds, func(h hold) bool { return h.side == "rich" }) && slices.ContainsFunc(j.holds, func(h hold) bool { return h.side == "lean" })
	for i := range j.holds {
		h, x := &j.holds[i], j.apart[i]
		f := truth.Force{Side: h.side, Begin: h.begin + lead, End: h.end + lead}
		length := h.end - h.begin
		size := math.Abs(h.moves)
		f.Faint = j.By == "fuelcut" || w.dead || j.Fault == cold || length < 4 || length*j.Rate < 10 || x.shown < max(0.01, 1.5*sd) ||
			!j.Marks && (!both || size < 0.03 || size < 3*sd)
		how := faint
		if !f.Faint {
			how = poor
			j.solid = append(j.solid, h)
			if x.commanded > 0 && x.told > 0 {
				f.Commanded, f.Told = x.commanded-h.begin, x.told-h.begin
			}
			if x.shown >= max(0.015, 1.8*sd) && x.answer >= max(2, 0.6*j.usual.swing) && length >= 6 && j.Rate >= 2 && !b.given && size >= 0.025 {
				how = good
			}
		}
		j.held[h.side] = max(j.held[h.side], how)
		j.Forces = append(j.Forces, f)
	}
	if j.By == "mixture" && !w.dead && j.Fault != cold && j.Fault != silent && j.Fault != limited && j.Fault != crossed {
		thin := 1 + b.thinned
		j.Wide = &truth.Wide{Gain: w.gain * b.share / thin, Tau: w.tau, Delay: w.own}
		if j.Fault == undelivery {
			j.Wide.Gain = 0
		}
	}
	j.undecided("unclear", "nothing_forced", "not_ready", "partly_proven")
	if j.By == "fuelcut" {
		j.byCut()
	} else {
		j.byMixture()
	}
	j.tidy()
	a := wideArcs[j.Fault]
	if j.Fault == gain && w.gain > 0.6 && w.gain < 1.35 { // between sound and half of it
		a = arcs{"", a.bad + " " + a.open}
	}
	j.falsify(a)
}

// own is how far the reading is from what is commanded by itself, φ.
func (j *wideJudge) own() float64 {
	sum, mean := 0.0, 0.0
	list := j.between(-25, j.holds[0].begin)
	for _, m := range list {
		mean += 1 / m.volts / m.target / float64(len(list))
	}
	for _, m := range list {
		sum += math.Pow(1/m.volts/m.target-mean, 2) / float64(len(list))
	}
	return math.Sqrt(sum)
}

// ring: all links are good. Both flanks of one move test both ways; unannounced, one side alone reads
// like purge (README of `accuracy`).
func (j *wideJudge) ring() {
	lean, rich := j.held["lean"], j.held["rich"]
	switch {
	case lean == good && rich == good && len(j.holds) > 1:
		j.accept("loop_proven")
	case max(lean, rich) == good:
		j.accept("loop_proven", "partly_proven")
		if min(lean, rich) > never {
			j.accept("unclear") // the other side was poor
		}
	case max(lean, rich) == poor:
		j.accept("loop_proven", "partly_proven", "unclear")
	default:
		j.accept("loop_proven", "partly_proven", "unclear", "nothing_forced")
	}
	if !j.Marks && min(lean, rich) < good {
		j.accept("nothing_forced", "unclear")
	}
}

// sees reports whether the readings are quick enough, and a side was tested well enough, for the sensor's figures.
func (j *wideJudge) sees(rate float64) bool {
	return j.Rate >= rate && j.port.voltsEach <= 0.25 && j.port.trimsEach <= 0.4 && max(j.held["lean"], j.held["rich"]) == good
}

func (j *wideJudge) byMixture() {
	w := j.car.banks[0].wide
	if j.usual.open > 0.2 {
		j.accept("not_ready", "unclear")
	}
	switch j.Fault {
	case sound, leak:
		j.ring()
	case gain:
		j.accept("sensor_skewed", "unclear")
		if !j.sees(3) || !j.rear || w.gain > 0.6 && w.gain < 1.5 || !j.Marks && min(j.held["lean"], j.held["rich"]) < good {
			j.ring()
		}
	case offset, exhaust: // the sensor in front alone can't show it: the loop makes it read right whatever is true
		j.accept("sensor_skewed", "unclear")
		j.ring()
	case late:
		j.accept("sensor_slow", "unclear")
		sharp := slices.ContainsFunc(j.solid, func(h *hold) bool { return h.onset < 0.5 })
		if !j.sees(5) || !sharp || min(w.tau[0], w.tau[1]) < 0.8 || !j.Marks {
			j.ring()
		}
	case open: // no wire is held, so which part of the line is dead stays open (README)
		j.accept("unclear", "sensor_dead")
		if !j.Marks || !j.rear {
			j.accept("nothing_forced")
		}
	case undelivery:
		j.accept("no_delivery")
		// Ten per cent of command that bring nothing decide.
		if !j.Marks || j.Rate < 3 || !slices.ContainsFunc(j.apart, func(a apart) bool { return a.answer > 10 }) {
			j.accept("unclear")
		}
		if len(j.solid) == 0 || !j.Marks {
			j.accept("nothing_forced")
		}
	case silent:
		j.accept("no_command")
		if !j.twice() {
			j.accept("unclear")
		}
		if len(j.solid) == 0 || !j.Marks {
			j.accept("nothing_forced", "unclear")
		}
	case limited:
		j.accept("unclear", "partly_proven", "loop_proven", "nothing_forced")
	case crossed: // gas reaches both banks (README of `accuracy`: unclear is right)
		j.accept("unclear", "wrong_bank", "nothing_forced")
	case cold:
		j.accept("not_ready", "unclear", "nothing_forced")
	}
}

// byCut: air for some seconds proves that the sensor reads lean, and no command.
func (j *wideJudge) byCut() {
	long := slices.ContainsFunc(j.holds, func(h hold) bool { return h.end-h.begin >= 3.5 && (h.end-h.begin-1)*j.Rate >= 6 })
	if !long || j.Fault != sound && j.Fault != leak {
		j.accept("unclear")
	}
	switch j.Fault {
	case open:
		j.accept("sensor_dead")
		if !long || !j.rear {
			j.accept("nothing_forced")
		}
	case cold:
		j.accept("not_ready", "nothing_forced")
	case late:
		j.accept("sensor_slow", "partly_proven", "nothing_forced")
	default:
		j.accept("partly_proven")
		if !long {
			j.accept("nothing_forced")
		}
		switch j.Fault {
		case gain, offset, exhaust:
			j.accept("sensor_skewed")
		case silent:
			j.accept("no_command")
		case undelivery:
			j.accept("no_delivery")
		case crossed:
			j.accept("wrong_bank")
		}
	}
}
