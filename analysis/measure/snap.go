package measure

import (
	"math"

	"pushback/analysis/stats"
)

// SnapRate is how many readings a second a snap throttle takes: a good sensor's rise lasts no longer than SnapRise, and
// with fewer readings none would fall into it.
const (
	SnapRate = 10.0 // 1/s
	SnapRise = 0.1  // s, from 0.3 to 0.6 V (scope-diagnostics page on sensor verification; the window from memory)
)

// Where a good sensor gets to in a snap (generic sensor test text of 1993: over 0.8 V rich, under 0.2 V as the throttle is let go).
const (
	SnapRich = 0.80 // V
	SnapLean = 0.20 // V
	riseFrom = 0.30 // V
	riseTo   = 0.60 // V
)

// Snap is what one snap of the throttle, engine out of gear, has shown of the sensor.
type Snap struct {
	At    float64 // s
	Rate  float64 // readings/s around it
	Shown bool    // that is enough; else nothing below counts
	High  float64 // V, highest, within 4 s
	Low   float64 // V, lowest after that, within 6 s more
	// How long the rise from 0.3 to 0.6 V took, s: at least and at most, as between readings. NaN: it did not rise so.
	RiseMin, RiseMax float64
}

// Slow and Quick report what the interval of the rise leaves no doubt of.
func (s Snap) Slow() bool  { return s.Shown && s.RiseMin > SnapRise }
func (s Snap) Quick() bool { return s.Shown && s.RiseMax <= SnapRise }

// A snap, told by engine speed. Common practice, no source.
const (
	snapFrom  = 1200.0 // rpm, from below
	snapRises = 1000.0 // rpm, within snapIn
	snapIn    = 4.0    // s
	snapBack  = 6.0    // s within which it has come back
	snapHigh  = 4.0
	snapSpan  = snapHigh + 6
)

// snapper finds snaps as readings come; it keeps some seconds of them.
type snapper struct {
	volts, rpm []reading
	speed      float32 // km/h
	at         float64 // of the snap that is followed; 0: none
	peak       float32 // rpm
	back       bool
	all        []Snap
	wide       bool // lambda was read: the volts are none of a narrow sensor's
}

func (s *snapper) add(is role, at, v float32) {
	switch is {
	case isRatio:
		s.wide, s.all, s.at = true, nil, 0
	case isRoadSpeed:
		if s.speed = v; v > 0 { // it was driven off
			s.at = 0
		}
	case isSpeed:
		s.rpm = append(late(s.rpm, at-snapIn), reading{at, v})
		s.turn(at, v)
	case isVolts:
		if s.wide {
			return
		}
		s.volts = append(late(s.volts, at-snapSpan-2), reading{at, v})
		if s.at > 0 && float64(at) > s.at+snapSpan {
			s.end()
		}
	}
}

// late drops what is older than from.
func late(all []reading, from float32) []reading {
	for len(all) > 0 && all[0].at < from {
		all = all[1:]
	}
	return all
}

func (s *snapper) turn(at, v float32) {
	if s.at > 0 {
		s.peak = max(s.peak, v)
		s.back = s.back || float64(at) < s.at+snapBack+snapIn && v < s.peak-snapRises/2
		return
	}
	for i := len(s.rpm) - 1; i >= 0; i-- {
		if r := s.rpm[i]; s.speed == 0 && r.v < snapFrom && v > r.v+snapRises {
			s.at, s.peak, s.back = float64(r.at), v, false
			return
		}
	}
}

func (s *snapper) end() {
	at := s.at
	s.at = 0
	if !s.back { // it was held there
		return
	}
	x := Snap{At: at, RiseMin: math.NaN(), RiseMax: math.NaN(), Low: math.NaN()}
	in := within(s.volts, at, at+snapSpan)
	if len(in) < 2 {
		return
	}
	gaps := make([]float64, len(in)-1)
	for i := range gaps {
		gaps[i] = float64(in[i+1].at - in[i].at)
	}
	x.Rate = 1 / stats.Median(gaps)
	x.Shown = x.Rate >= SnapRate
	top := at
	for _, r := range within(in, at, at+snapHigh) {
		if float64(r.v) > x.High {
			x.High, top = float64(r.v), float64(r.at)
		}
	}
	for _, r := range within(in, top, at+snapSpan) {
		if !(float64(r.v) > x.Low) {
			x.Low = float64(r.v)
		}
	}
	x.rise(in)
	s.all = append(s.all, x)
}

// rise takes the shortest rise that was read: real mixture may also come slowly.
func (s *Snap) rise(in []reading) {
	for i := range in {
		if in[i].v > riseFrom {
			continue
		}
		j := i + 1
		for j < len(in) && in[j].v > riseFrom && in[j].v < riseTo {
			j++
		}
		if j >= len(in) || in[j].v < riseTo {
			continue
		}
		least := math.Max(0, float64(in[j-1].at-in[min(i+1, j)].at))
		if most := float64(in[j].at - in[i].at); !(most >= s.RiseMax) {
			s.RiseMin, s.RiseMax = least, most
		}
	}
}
