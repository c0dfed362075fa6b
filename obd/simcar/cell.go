package simcar

import "math"

// The emf of a zirconia cell over lambda and temperature: Nernst's equation on the
// exhaust of CH1.87 at chemical equilibrium (CO, H2, water-gas), in mV. The
// equilibrium was computed with JANAF free energies from memory; the Nernst part is
// exact (test: TestCellNernst).
var (
	cellLambda = [...]float64{0.80, 0.90, 0.95, 0.97, 0.98, 0.99, 1.00, 1.01, 1.02, 1.05, 1.10}
	cellKelvin = [...]float64{700, 900, 1000, 1100}
	cellMV     = [len(cellKelvin)][len(cellLambda)]float64{
		{1061, 1029, 1003, 986, 973, 952, 364, 71, 60, 47, 37},
		{979, 944, 913, 892, 875, 848, 343, 91, 77, 60, 48},
		// lambda 0.80 at 1000 and 1100 K is continued with the slope of the 900 K row.
		{933, 898, 864, 841, 822, 792, 331, 101, 86, 67, 53},
		{885, 850, 813, 788, 768, 734, 318, 111, 95, 74, 58},
	}
)

const (
	nernst   = 8.314462618 / (4 * 96485.33212) // R/4F, V/K (CODATA 2018)
	airO2    = 0.209                           // oxygen in the reference air, bar
	maxCellR = 50e6                            // ohm: a cold cell; leakage of the connector keeps it finite
)

// cellEMF returns the equilibrium emf in volts of a cell at the given kelvin in
// exhaust of equivalence ratio phi. Between table points it is linear; leaner than
// the table it follows Nernst's equation with the oxygen that the excess air brings.
func cellEMF(phi, kelvin float64) float64 {
	lambda := 1 / math.Max(phi, 1e-3)
	row, f := 0, 0.0
	for row < len(cellKelvin)-2 && kelvin > cellKelvin[row+1] {
		row++
	}
	f = (kelvin - cellKelvin[row]) / (cellKelvin[row+1] - cellKelvin[row])
	f = min(max(f, 0), 1)
	const last = len(cellLambda) - 1
	if lambda >= cellLambda[last] {
		edge := cellMV[row][last]*(1-f) + cellMV[row+1][last]*f
		// Free oxygen of lean exhaust is about airO2·(lambda-1)/lambda.
		return edge / 1000 * math.Log(lambda/(lambda-1)) / math.Log(cellLambda[last]/(cellLambda[last]-1))
	}
	lambda = max(lambda, cellLambda[0])
	i := 0
	for lambda > cellLambda[i+1] {
		i++
	}
	g := (lambda - cellLambda[i]) / (cellLambda[i+1] - cellLambda[i])
	cold := cellMV[row][i]*(1-g) + cellMV[row][i+1]*g
	hot := cellMV[row+1][i]*(1-g) + cellMV[row+1][i+1]*g
	return (cold*(1-f) + hot*f) / 1000
}

// cellResistance returns the internal resistance in ohm of a heated planar cell:
// an Arrhenius line through 120 ohm at 650 °C and 10 ohm at 900 °C, the end points
// of a sensor maker's graph; the graph's middle point, 35 ohm at 750 °C, is a test.
// Colder it is some kiloohm at 350 to 400 °C and megaohms when cold (from memory).
func cellResistance(kelvin float64) float64 {
	const activation = 10763.0 // K
	r := 120 * math.Exp(activation*(1/kelvin-1/923.15))
	return min(r, maxCellR)
}

// cellSpec is one sensor element.
type cellSpec struct {
	kelvin       float64 // at working temperature
	toRich       float64 // s: time constant of the voltage's rise
	toLean       float64 // s: of its fall
	stuck        bool    // the element reports stuckAt whatever the gas
	stuckAt      float64 // V
	resistanceBy float64 // the element's resistance against the planar cell's
	shift        float64 // added to lambda that the element feels
	output       float64 // share of the equilibrium emf that an aged element gives; 0: all
	noise        float64 // V, sigma on rich exhaust; on lean, less than half of it
	noiseTau     float64 // s: its correlation time
	hotter       float64 // K by which the exhaust heats it at full load
}

// cell is the element's state.
type cell struct {
	spec   cellSpec
	kelvin float64
	emf    float64 // V, without noise
	ripple float64 // noise now, in sigmas
	ohms   float64
}

// stir moves the noise by a tick: gas that is not well mixed, pulses of the exhaust. It is an
// Ornstein-Uhlenbeck process.
func (c *cell) stir(normal func() float64) {
	if c.spec.noise > 0 {
		keep := math.Exp(-tick / max(c.spec.noiseTau, 0.001))
		c.ripple = c.ripple*keep + math.Sqrt(1-keep*keep)*normal()
	}
}

// volts is what the element gives, noise and all: more of it the higher the emf, as
// recordings of a real car have it (0.036 V rich, 0.023 V lean within a stay, drift
// included). A stuck element makes none.
func (c *cell) volts() float64 {
	if c.spec.stuck {
		return c.emf
	}
	return c.emf + c.spec.noise*(0.4+0.7*c.emf)*c.ripple
}

// gas moves the element by dt seconds in exhaust of equivalence ratio phi.
func (c *cell) gas(phi, dt float64) {
	target := c.spec.stuckAt
	if !c.spec.stuck {
		target = cellEMF(phi-c.spec.shift, c.kelvin)
		if c.spec.output > 0 {
			target *= c.spec.output
		}
	}
	tau := c.spec.toRich
	if target < c.emf {
		tau = c.spec.toLean
	}
	c.emf += (target - c.emf) * dt / (tau + dt)
}

// heat moves the element's temperature by dt seconds at a share of the engine's full flow; a
// heater takes a cold cell past light-off in some 20 s.
func (c *cell) heat(flow, dt float64) {
	c.kelvin += (c.spec.kelvin + c.spec.hotter*max(flow-0.3, 0)/0.7 - c.kelvin) * dt / 15
	c.ohms = cellResistance(c.kelvin) * c.spec.resistanceBy
}
