package heldout

import "math"

// emf is the voltage of a zirconia cell at φ = 1/λ and a temperature, K, in burnt gas at
// equilibrium: Nernst's equation, RT/4F = 0.0215433 mV/K (CODATA), air at 0.206 atm beside the
// tip. Fuel CH1.87. The constants of the two equilibria are from memory; the result is held to
// a published table in cell_test.go.
func emf(phi, kelvin float64) float64 {
	const nernst = 2.15433e-5 // V/K
	if phi < 1e-3 {
		return 0
	}
	lambda := 1 / phi
	const oxygen = 1.4675 // mol of O2 that burn a mol of CH1.87
	if lambda >= 1.0005 {
		left := oxygen * (lambda - 1)
		share := left / (1.935 + oxygen*3.78*lambda + left)
		return max(0, nernst*kelvin*math.Log(0.206/share))
	}
	if lambda > 0.9995 { // the cell's own step: what is between is never at equilibrium
		up, down := emf(1/0.9994, kelvin), emf(1/1.0006, kelvin)
		return down + (up-down)*(1.0005-lambda)/0.001
	}
	short := 2 * oxygen * (1 - lambda) // CO and H2 together
	shift := math.Pow(10, -2.4198+0.0003855*kelvin+2180.6/kelvin)
	// (1-a)·b = shift·a·(0.935-b) with a CO, b = short-a H2.
	qa, qb, qc := 1-shift, shift*(short-0.935)-1-short, short
	a := -qc / qb
	if math.Abs(qa) > 1e-6 {
		a = (-qb - math.Sqrt(qb*qb-4*qa*qc)) / (2 * qa)
	}
	b := math.Max(short-a, 1e-9)
	p := math.Pow(10, 2.947-13008/kelvin) * (0.935 - b) / b
	return nernst * kelvin * (math.Log(0.206) - 2*math.Log(p))
}

// ohms is a cell's inner resistance: 10 Ω at 900 °C, 120 Ω at 650 °C on one published cell,
// Arrhenius's law through both (16 kΩ at 377 °C, 25 MΩ at 177; kΩ and MΩ from memory).
func ohms(kelvin float64) float64 { return 120 * math.Exp(10762*(1/kelvin-1/923.15)) }

// cell is a switching sensor: gas reaches its electrode late, the electrode follows late.
type cell struct {
	table    [601]float64 // emf by φ, from 0.9 in steps of 1/3000, where nearly all happens
	below    [91]float64  // and from 0 in steps of 0.01
	kelvin   float64
	inner    float64 // Ω
	scale    float64 // of an old cell's voltage
	shift    float64 // of φ, by deposits
	gasTau   float64 // s, protective tube and coating
	up, down float64 // s, electrode, towards rich and towards lean
	stuck    float64 // a dead cell's voltage; negative: it lives
	gas      lag
	volts    float64
}

// heat sets the temperature, and what follows from it.
func (c *cell) heat(kelvin float64) {
	c.kelvin, c.inner = kelvin, ohms(kelvin)
	for i := range c.table {
		c.table[i] = emf(0.9+float64(i)/3000, kelvin)
	}
	for i := range c.below {
		c.below[i] = emf(float64(i)/100, kelvin)
	}
}

func (c *cell) at(phi float64) float64 {
	if phi < 0.9 {
		x := max(phi, 0) * 100
		i := int(x)
		return c.below[i] + (c.below[i+1]-c.below[i])*(x-float64(i))
	}
	x := (phi - 0.9) * 3000
	i := int(x)
	if i >= len(c.table)-1 { // beyond φ 1.1 it rises by 0.25 V a unit, by equilibrium (cell_test.go)
		return c.table[len(c.table)-1] + 0.25*min(phi-1.1, 0.4)
	}
	return c.table[i] + (c.table[i+1]-c.table[i])*(x-float64(i))
}

// step returns the cell's own voltage.
func (c *cell) step(phi, dt float64) float64 {
	if c.stuck >= 0 {
		c.volts = c.stuck
		return c.volts
	}
	v := c.scale * c.at(c.gas.step(phi, c.gasTau, dt)+c.shift)
	tau := c.up
	if v < c.volts {
		tau = c.down
	}
	c.volts += (v - c.volts) * part(tau, dt)
	return c.volts
}

// input is the computer's end of the signal wire.
type input struct {
	bias, ohm float64 // V through Ω: what it reads when open
	top       float64 // V, the top of its range
	offset    float64 // V, by which the sensor return lies above the computer's ground
	fault     int
}

const (
	whole     = iota
	openWire  // between the tap and the computer
	shorted   // to ground at the computer's side
	openProbe // between the tap and the sensor
)

// contact is what a technician puts onto the wire.
type contact struct{ volts, ohm float64 }

// volts is what the input reads: sources in parallel, by their conductances.
func (in *input) volts(own, inner float64, joined bool, c *contact) float64 {
	if in.fault == shorted {
		return 0
	}
	g := 1 / in.ohm
	s := in.bias * g
	if in.fault != openWire {
		if joined && in.fault != openProbe {
			s += own / inner
			g += 1 / inner
		}
		if c != nil {
			s += c.volts / c.ohm
			g += 1 / c.ohm
		}
	}
	return min(max(s/g+in.offset, 0), in.top)
}
