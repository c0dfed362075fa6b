package unseenwide

import (
	"fmt"
	"slices"
	"time"

	"pushback/obd"
)

// session is what a technician does with a car.
type session struct {
	by, style string
	feeds     []feed
	legs      []leg
	lifts     []float64 // when the foot was lifted
	length    float64
	marks     []obd.Record
	off       bool // what they said was wrong or said at a wrong time
}

func at(s float64) time.Duration { return time.Duration(s*1e6) * time.Microsecond }

// drawSession draws one; those with marks say what they do.
func drawSession(d dice, marks bool) session {
	s := session{by: "mixture", legs: []leg{{}}}
	if d.chance(0.2) {
		s.by = "fuelcut"
		s.drawCuts(d)
	} else {
		s.drawFeeds(d)
	}
	if marks {
		s.drawMarks(d)
	}
	return s
}

func (s *session) drawFeeds(d dice) {
	n, only := 1+d.IntN(4), d.IntN(5) // 0, 1: propane; 2: hose; else both
	t := d.span(20, 60)
	steady := d.chance(0.4)
	up, down := d.scale(0.2, 4), d.scale(0.2, 2.5)
	for k := range n {
		f := feed{side: rich, begin: t, up: up * d.span(0.7, 1.4), down: down * d.span(0.7, 1.4), size: d.scale(0.025, 0.15), unsteadS: d.scale(2, 15)}
		if only == 2 || only > 2 && k%2 == 1 {
			f.side = lean
			f.size = d.scale(0.025, 0.12)
		}
		if !steady {
			f.unsteady = d.span(0, 0.25)
		}
		f.end = t + d.span(5, 25)
		s.feeds = append(s.feeds, f)
		t = f.end + d.scale(8, 45)
	}
	s.length = t + d.span(5, 20)
	s.style = fmt.Sprintf("%s %d times", []string{"propane", "propane", "hose", "both", "both"}[only], n)
}

// drawCuts lifts the foot from revolutions on the stand, or in gear on a road.
func (s *session) drawCuts(d dice) {
	t, n := d.span(20, 40), 1+d.IntN(3)
	s.style = fmt.Sprintf("lifted %d times", n)
	road, speed := d.chance(0.6), d.span(14, 24)
	if road {
		s.style += " on the road"
		s.legs = append(s.legs, leg{from: t, speed: speed})
		t += d.span(20, 35)
	}
	for range n {
		held, coasts := d.span(4, 10), d.span(2, 9)
		if road {
			s.legs = append(s.legs, leg{from: t, speed: speed, coast: true}, leg{from: t + coasts, speed: speed})
			s.lifts = append(s.lifts, t)
			t += coasts
		} else {
			s.legs = append(s.legs, leg{from: t, rev: d.span(2400, 3100)}, leg{from: t + held})
			t += held
			s.lifts = append(s.lifts, t)
		}
		t += d.span(8, 30)
	}
	s.legs = append(s.legs, leg{from: t})
	s.length = t + 20
}

// drawMarks says the beginning and the end of what was done, and errs in one test of three.
func (s *session) drawMarks(d dice) {
	deeds := slices.Clone(s.feeds)
	for _, x := range s.lifts {
		deeds = append(deeds, feed{side: lean, begin: x, end: x + 5})
	}
	habit := ""
	if d.chance(0.34) {
		habit = []string{"early", "late", "wrong", "left out", "no release"}[d.IntN(5)]
		s.style += ", marks " + habit
	}
	odd := d.IntN(len(deeds))
	for k, x := range deeds {
		kind, shift := obd.MarkRich, d.span(-0.6, 1)
		if (x.side == lean) != (habit == "wrong" && k == odd) {
			kind = obd.MarkLean
		}
		switch habit {
		case "early":
			shift = -d.span(1, 3.5)
		case "late":
			shift = d.span(1, min(4, x.end-x.begin-1))
		}
		if habit != "left out" || k != odd {
			s.say(x.begin+shift, kind)
		}
		if habit != "no release" && (habit != "left out" || k != odd) {
			s.say(x.end+d.span(-0.4, 0.9), obd.MarkRelease)
		}
	}
	s.off = habit != ""
}

func (s *session) say(t float64, kind obd.MarkKind) {
	s.marks = append(s.marks, obd.Record{At: at(t), Mark: &obd.Mark{Kind: kind}})
}

// drawRoad is an hour on the road: town, country, motorway, stands.
func drawRoad(d dice) []leg {
	legs := []leg{{}}
	for t := d.span(15, 60); t < 3600; {
		speed, long := d.span(6, 15), d.scale(10, 60)
		switch d.IntN(5) {
		case 0:
			speed, long = 0, d.scale(10, 120)
		case 1:
			speed, long = d.span(17, 26), d.scale(40, 200)
		case 2:
			speed, long = d.span(25, 34), d.scale(60, 300)
		}
		if last := legs[len(legs)-1]; d.chance(0.4) && last.speed > 8 {
			legs = append(legs, leg{from: t, speed: last.speed, coast: true})
			t += d.scale(2, 15)
		}
		legs = append(legs, leg{from: t, speed: speed})
		t += long
	}
	return legs
}
