package unseenwide

import (
	"slices"

	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd"
)

// Wide draws a test of a car with wide-range sensors: propane fed, air let in, or the foot lifted off.
func Wide(seed uint64) (*truth.Test, []obd.Record) {
	t, _, list := test(seed)
	return t, list
}

func test(seed uint64) (*truth.Test, *reader, []obd.Record) {
	car, f := drawCar(roll(seed, 1))
	s := drawSession(roll(seed, 2), seed%2 == 0)
	forced := drive(car, s.legs, s.feeds, s.length, seed)
	twin := forced
	if len(s.feeds) > 0 {
		twin = drive(car, s.legs, nil, s.length, seed)
	}
	r := &reader{port: drawPort(roll(seed, 3), car), car: &car, run: &forced, dice: roll(seed, 4)}
	r.read(s.length)
	return witness(&car, f, &s, r, &twin).test(seed), r, join(r.list, s.marks)
}

// test is the truth of what was witnessed.
func (w *witnessed) test(seed uint64) *truth.Test {
	t := &truth.Test{Seed: seed, Rate: w.rate, Fault: w.fault.name, Style: w.session.style, Marks: len(w.session.marks) > 0, Sensor: "B1S1", By: w.session.by, False: w.falsehoods()}
	if w.fault.both && w.fault.name != sound {
		t.Fault += ", both banks"
	}
	right, open := w.judge()
	t.Accepted = unique(right)
	t.Undecided = slices.DeleteFunc(unique(open), func(c string) bool { return slices.Contains(right, c) })
	for i := range w.deeds {
		t.Forces = append(t.Forces, w.deeds[i].force)
	}
	for _, x := range w.session.lifts { // nobody's force
		t.Forces = append(t.Forces, truth.Force{Side: "lean", Begin: x, End: w.ends(x), Faint: true})
	}
	for _, c := range w.cuts { // nor are cuts that no lift of the list began, as of rolling out; but they are cuts
		if !slices.ContainsFunc(w.session.lifts, func(x float64) bool { return c[0] > x && c[0] < x+2 }) {
			t.Forces = append(t.Forces, truth.Force{Side: "lean", Begin: c[0], End: c[1], Faint: true})
		}
	}
	if c := &w.car.bank[0].cell; c.stuck == 0 && w.fault.name != openLoop {
		t.Wide = &truth.Wide{Gain: w.gain, Tau: c.tau}
	}
	return t
}

func unique(list []string) []string { return slices.Compact(slices.Sorted(slices.Values(list))) }

// ends is when what was lifted at t is over: with the cut that followed, else after 2 s.
func (w *witnessed) ends(t float64) float64 {
	for _, c := range w.cuts {
		if c[0] > t && c[0] < t+2 {
			return c[1]
		}
	}
	return t + 2
}

// Drive is an hour on the road in which nobody forces anything, with a car whose fault, if it has one, is not plain without that.
func Drive(seed uint64) (*truth.Test, []obd.Record) {
	d := roll(seed, 5)
	car, f := drawCar(roll(seed, 6))
	if slices.Contains([]string{deadCell, openPump, notThrough, openLoop, silent}, f.name) {
		f.name = sound
		car.loop.open, car.loop.silent = 0, false
		for k := range car.bank {
			car.bank[k].obeys, car.bank[k].cell.stuck = true, 0
		}
	}
	if d.chance(0.25) {
		car.ect, car.goal.warm = d.span(5, 60), d.span(15, 45)
	}
	road := drive(car, drawRoad(d), nil, 3600, seed)
	r := &reader{port: drawPort(roll(seed, 7), car), car: &car, run: &road, dice: roll(seed, 8)}
	r.read(3600)
	w := &witnessed{car: &car, fault: f, gain: car.gain()}
	return &truth.Test{Seed: seed, Rate: float64(len(r.watch)) / 3600, Fault: f.name, Style: "drive", Sensor: "B1S1", By: "mixture", Hours: 1,
		Accepted: []string{nothing}, Undecided: []string{notReady, unclear}, False: w.falsehoods()}, join(r.list, nil)
}
