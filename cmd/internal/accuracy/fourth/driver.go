package fourth

// segment is a stretch of driving: what the engine is asked for until the time until.
type segment struct {
	until     float64
	rpm, load float64
	kmh       float64
	cut       bool
	rich      float64
	quick     float64 // s to get there
}

// spell is a stretch in which something acts: the canister's purge, a fan or compressor.
type spell struct{ from, to, size float64 }

// shape is how strongly a spell acts at t: it comes and goes in ramp s.
func (p spell) shape(t, ramp float64) float64 {
	return p.size * clamp(min((t-p.from)/ramp, (p.to-t)/ramp), 0, 1)
}

// driver turns the pedal and the loads.
type driver struct {
	segments []segment
	purges   []spell
	loads    []spell // more load on the engine, as a share of its own
	at       int
	now      point
	kmh      float64
	rpmWalk  drifting
	loadWalk drifting
}

func newDriver(src source, segments []segment) *driver {
	return &driver{segments: segments, now: point{rpm: segments[0].rpm, load: segments[0].load},
		rpmWalk: drifting{sd: src.between(4, 18), tau: src.between(0.5, 3)}, loadWalk: drifting{sd: src.between(0.003, 0.015), tau: src.between(0.5, 5)}}
}

// step returns the point of the engine at t.
func (d *driver) step(src source, t float64) point {
	for d.at < len(d.segments)-1 && t >= d.segments[d.at].until {
		d.at++
	}
	s := d.segments[d.at]
	before := d.now.load
	rpm, load := s.rpm, s.load
	for _, l := range d.loads {
		// The idle control answers the load late: the speed dips as it comes.
		x := l.shape(t, 0.4)
		load *= 1 + x
		if t > l.from && t < l.from+1.5 {
			rpm *= 1 - 0.25*l.size
		}
	}
	d.now.rpm = lag(d.now.rpm, rpm+d.rpmWalk.step(src), s.quick)
	d.now.load = clamp(lag(d.now.load, load+d.loadWalk.step(src), s.quick*0.6), 0.12, 1)
	d.kmh = lag(d.kmh, s.kmh, 3)
	d.now.cut, d.now.rich = s.cut, s.rich
	// What the air does at once the fuel does later: lean as the throttle opens, rich as it shuts.
	d.now.tip = clamp(lag(d.now.tip, -0.12*(d.now.load-before)/dt, 0.15), -0.25, 0.25)
	d.now.purge = 0
	for _, p := range d.purges {
		d.now.purge += p.shape(t, 3)
	}
	return d.now
}

// standing is an engine that idles or is held at a speed.
func standing(src source, rpm, load, length float64) *driver {
	d := newDriver(src, []segment{{until: length, rpm: rpm, load: load, quick: 0.5}})
	d.disturb(src, length)
	return d
}

// disturb has the canister purged and loads switched now and then.
func (d *driver) disturb(src source, length float64) {
	if src.chance(0.4) {
		for t := src.between(5, 90); t < length; t += src.logBetween(40, 300) {
			d.purges = append(d.purges, spell{t, t + src.between(10, 50), src.between(0.01, 0.07)})
		}
	}
	if src.chance(0.4) {
		for t := src.between(5, 90); t < length; t += src.logBetween(40, 300) {
			d.loads = append(d.loads, spell{t, t + src.between(15, 60), src.between(0.1, 0.35)})
		}
	}
}

// driving draws a drive of the kind: idle, cruise, town or snaps.
func driving(src source, kind string, idle, load, length float64) *driver {
	var list []segment
	t := 0.0
	add := func(s segment, seconds float64) {
		t += seconds
		s.until = t
		list = append(list, s)
	}
	for t < length {
		add(segment{rpm: idle, load: load, quick: 0.8}, src.logBetween(8, 90))
		switch kind {
		case "idle":
			add(segment{rpm: idle * src.between(1, 1.1), load: load * src.between(0.95, 1.2), quick: 2}, src.logBetween(30, 200))
		case "snaps":
			add(segment{rpm: src.between(2500, 4000), load: src.between(0.4, 0.8), quick: 0.25}, src.between(0.4, 1.5))
			add(segment{rpm: idle + 200, load: 0.16, cut: true, quick: 0.7}, src.between(0.5, 2))
		case "cruise":
			accelerate(src, add)
			for range 2 + src.IntN(6) {
				add(segment{rpm: src.between(1500, 3000), load: src.between(0.3, 0.7), kmh: src.between(60, 120), quick: 1.5}, src.logBetween(15, 180))
				overrun(src, add, 0.3)
			}
			overrun(src, add, 1)
		default:
			accelerate(src, add)
			for range src.IntN(4) {
				add(segment{rpm: src.between(1300, 2300), load: src.between(0.25, 0.55), kmh: src.between(25, 60), quick: 1}, src.logBetween(4, 40))
				overrun(src, add, 0.4)
			}
			overrun(src, add, 0.8)
		}
	}
	d := newDriver(src, list)
	d.disturb(src, length)
	return d
}

// accelerate goes through one to three gears, now and then at full load.
func accelerate(src source, add func(segment, float64)) {
	for gear := range 1 + src.IntN(3) {
		s := segment{rpm: src.between(1800, 3500), load: src.between(0.45, 0.9), kmh: 15 + 20*float64(gear), quick: src.between(0.8, 2)}
		if src.chance(0.15) {
			s.load, s.rich = 1, src.between(0.06, 0.16)
		}
		add(s, src.between(1.5, 6))
		add(segment{rpm: s.rpm * 0.7, load: 0.2, kmh: s.kmh, quick: 0.3}, src.between(0.3, 0.8))
	}
}

// overrun lifts the throttle: fuel is cut above some speed.
func overrun(src source, add func(segment, float64), chance float64) {
	if src.chance(chance) {
		add(segment{rpm: src.between(1200, 2000), load: 0.15, kmh: 30, cut: true, quick: 1.5}, src.logBetween(1, 25))
		add(segment{rpm: 1000, load: 0.22, kmh: 15, quick: 1}, src.between(1, 3))
	}
}
