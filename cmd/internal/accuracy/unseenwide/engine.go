package unseenwide

import "math"

const (
	baro      = 101.3 // kPa
	perSpeed  = 0.01124
	perMass   = 88.97 // kPa·L/g: R·T of air at 310 K; perSpeed is its inverse in g, L, kPa
	wattPerG  = 828   // W indicated per g/s of air: 43.5 kJ/g of petrol at 14.7 and an efficiency of 0.28 (from memory)
	stoich    = 14.7
	vehicleKg = 1300
)

// airSpec is an engine as a pump: cylinders that draw on a manifold that a throttle fills (mean-value
// model, common knowledge of engine control).
type airSpec struct {
	litres, fill, manifold float64 // displacement, volumetric efficiency, L of manifold
	idle, rest             float64 // rpm, and kPa in the manifold at idle
	inertia, p, i          float64 // kg·m², the governor's gains
	unrest                 float64 // N·m of torque that comes and goes
	load                   float64 // N·m of a consumer that is switched
	cut, resume, cutAfter  float64 // rpm, rpm, s
	banks, cylinders       int
}

// want is what the right foot asks for.
type want struct {
	rev  float64 // rpm on the stand; 0: idle
	road float64 // rpm that the wheels impose; 0: clutch open
	air  float64 // g/s with the wheels driven; 0: foot off
}

// engine is its state.
type engine struct {
	airSpec
	kPa, n, area, integral float64 // kPa, rpm, choked g/s of the throttle, the governor's part of it
	drag                   float64 // N·m at rest
	torque, hand           float64 // wandering
	consumer               float64
	lifted                 float64 // s since the foot left the pedal
	cutOff                 bool
	throttle, cylinder     float64 // g/s
}

func (a airSpec) draws(n, kPa float64) float64 { return a.fill * a.litres * n / 120 * kPa * perSpeed }

func (a airSpec) idleAir() float64 { return a.draws(a.idle, a.rest) }

func newEngine(a airSpec) engine {
	air := a.idleAir()
	return engine{airSpec: a, kPa: a.rest, n: a.idle, area: air, integral: air, drag: wattPerG * air / omega(a.idle), throttle: air, cylinder: air, lifted: 60}
}

func omega(rpm float64) float64 { return rpm * 2 * math.Pi / 60 }

// orifice is the share of the choked flow at a ratio of pressures (isentropic nozzle, κ 1.4).
func orifice(r float64) float64 {
	if r <= 0.528 {
		return 1
	}
	r = min(r, 0.9995)
	return math.Sqrt(math.Pow(r, 2/1.4)-math.Pow(r, 2.4/1.4)) / 0.2588
}

// step runs the engine on: extra is air that passes the throttle by, phi what burns.
func (e *engine) step(dt float64, w want, extra, phi float64, gauss [2]float64) {
	e.torque, e.hand = wander(e.torque, dt, 0.7, gauss[0]), wander(e.hand, dt, 1.5, gauss[1])
	free := orifice(e.kPa / baro)
	away := e.idle - e.n
	to, spark := 0.0, 0.0
	switch {
	case w.road > 0 && w.air > 0:
		to, e.lifted = min(w.air/free, 3*e.draws(e.n, baro)), 0
	case w.rev > 0:
		to, e.lifted = e.idleAir()*(w.rev/e.idle)*0.9+0.004*(w.rev*(1+0.01*e.hand)-e.n), 0
	default:
		e.lifted += dt
		if away > -250 {
			e.integral = clamp(e.integral+e.i*away*dt, 0.2*e.idleAir(), 3*e.idleAir())
			spark = clamp(0.0015*away, -0.25, 0.25)
		}
		to = e.integral + e.p*clamp(away, -250, 250)
	}
	e.area = toward(e.area, max(to, 0.15*e.idleAir()), dt, 0.08)
	e.throttle = e.area * free
	e.cylinder = e.draws(e.n, e.kPa)
	e.kPa = clamp(e.kPa+(e.throttle+extra-e.cylinder)*perMass/e.manifold*dt, 12, 100)
	e.decide()
	if w.road > 0 {
		e.n = toward(e.n, max(w.road, e.idle), dt, 0.2)
		return
	}
	burns := (1 - 1.2*(phi-1.03)*(phi-1.03)) * (1 + spark)
	if phi < 0.5 {
		burns = 0
	}
	drive := wattPerG * e.cylinder * burns / omega(e.n)
	drag := e.drag*(0.6+0.4*e.n/e.idle) + e.consumer + e.unrest*e.torque
	e.n = clamp(e.n+(drive-drag)/e.inertia*dt*60/(2*math.Pi), 450, 5500)
}

// decide cuts fuel off with the foot off the pedal and gives it again.
func (e *engine) decide() {
	if e.lifted >= e.cutAfter && e.n > e.cut {
		e.cutOff = true
	}
	if e.lifted == 0 || e.n < e.resume {
		e.cutOff = false
	}
}

// A leg is a stretch of a drive or of a stand: from a time on, at a speed (m/s) or at revolutions.
type leg struct {
	from, speed, rev float64
	coast            bool // the foot off, in gear
}

// driver follows legs.
type driver struct {
	legs     []leg
	at, gear int
	v        float64 // m/s
}

var gears = []struct{ below, rpm float64 }{{5, 300}, {10, 230}, {17, 150}, {1e9, 100}} // m/s, rpm for each m/s

// asks says what the foot does at t, and moves the car.
func (d *driver) asks(t, dt float64, e *engine) want {
	for d.at+1 < len(d.legs) && d.legs[d.at+1].from <= t {
		d.at++
	}
	l := d.legs[d.at]
	l.speed = min(l.speed, 19+5*e.litres)                                                          // small cars are slower,
	acc := clamp(0.4*(l.speed-d.v)+0.05*e.hand, -2.2, min(1.2, 8000*e.litres/(vehicleKg*(d.v+1)))) // and take their time
	if l.coast {
		acc = -0.35 - 0.0009*d.v*d.v
	}
	if d.v < 0.1 && l.speed == 0 {
		d.v = 0
		return want{rev: l.rev}
	}
	before := d.v
	d.v = max(0, d.v+acc*dt)
	for d.gear > 0 && d.v < gears[d.gear-1].below-0.6 {
		d.gear--
	}
	for d.v > gears[d.gear].below+0.6 {
		d.gear++
	}
	w := want{road: d.v * gears[d.gear].rpm}
	if w.road < e.idle*0.9 && acc <= 0 {
		return want{}
	}
	w.road = max(w.road, e.idle)
	power := (vehicleKg*(d.v-before)/dt + 153 + 0.35*d.v*d.v) * d.v
	friction := 0.55 * e.idleAir() * e.n / e.idle
	if w.air = friction + power/wattPerG; power < -0.1*friction*wattPerG || l.coast {
		w.air = 0
	}
	return w
}
