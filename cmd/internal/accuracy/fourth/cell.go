package fourth

import "math"

// gas constants: R, and 4F of the oxygen electrode.
const (
	gasR     = 8.314462618
	fourF    = 4 * 96485.33212
	airO2    = 0.209 // share of oxygen in the reference air
	hydrogen = 1.87  // atoms to one of carbon in petrol
)

// oxygenPressure is the share of oxygen at equilibrium in the exhaust of CH1.87 burnt at λ,
// when CO, H2 and their products have reached water-gas equilibrium at the cell's temperature.
// ΔG of CO + ½O2 = CO2 and of H2 + ½O2 = H2O linear in T (from memory, after JANAF).
func oxygenPressure(lambda, kelvin float64) float64 {
	kCO := math.Exp(-(-282_400 + 86.8*kelvin) / (gasR * kelvin))
	kH2 := math.Exp(-(-247_500 + 55.9*kelvin) / (gasR * kelvin))
	o2 := lambda * (1 + hydrogen/4) // moles supplied to one of carbon
	nitrogen := o2 * (1 - airO2) / airO2
	total := 1 + hydrogen/2 + nitrogen
	lo, hi := math.Log(1e-40), math.Log(airO2)
	for range 70 {
		mid := (lo + hi) / 2
		p := math.Exp(mid)
		co := 1 / (1 + kCO*math.Sqrt(p)) // share of carbon left as CO
		h2 := 1 / (1 + kH2*math.Sqrt(p))
		bound := (1 - co) + co/2 + (1-h2)*hydrogen/4
		if bound+p*(total+max(0, o2-1-hydrogen/4)) > o2 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return math.Exp((lo + hi) / 2)
}

// nernst is the voltage of an ideal zirconia cell, V.
func nernst(lambda, kelvin float64) float64 {
	return gasR * kelvin / fourF * math.Log(airO2/oxygenPressure(lambda, kelvin))
}

// resistance of a heated planar cell, Ω: 10 at 900 °C, 35 at 750 °C, 120 at 650 °C (a sensor
// maker's graph), some kΩ at 400 °C (from memory): an Arrhenius law through the outer two.
func resistance(kelvin float64) float64 {
	const b = 10_764
	return 120 * math.Exp(b*(1/kelvin-1/923.15))
}

// curve is a cell's voltage over φ, tabled: a real electrode smears the step a little.
type curve struct{ volts [481]float64 }

const (
	curveFrom = 0.40
	curveStep = 0.0025
)

func newCurve(kelvin, gain, offset, smear float64) *curve {
	var ideal, c curve
	for i := range ideal.volts {
		ideal.volts[i] = nernst(1/(curveFrom+curveStep*float64(i)), kelvin)
	}
	for i := range c.volts {
		sum, weight := 0.0, 0.0
		for k := -6; k <= 6; k++ {
			j := i + k
			if j < 0 || j >= len(ideal.volts) {
				continue
			}
			w := math.Exp(-0.5 * math.Pow(float64(k)*curveStep/smear, 2))
			sum, weight = sum+w*ideal.volts[j], weight+w
		}
		c.volts[i] = offset + gain*sum/weight
	}
	return &c
}

func (c *curve) at(phi float64) float64 {
	x := clamp((phi-curveFrom)/curveStep, 0, float64(len(c.volts)-1)-1e-9)
	i := int(x)
	return c.volts[i] + (x-float64(i))*(c.volts[i+1]-c.volts[i])
}

// cellSpec is a narrow sensor as it was drawn.
type cellSpec struct {
	curve            *curve
	kelvin           float64
	diffusion        float64 // lag of the gas through the protective layer, s
	tauRich, tauLean float64 // lag of the voltage towards each side, s
	noise            float64 // V
	stuck            float64 // V whatever the gas is; NaN: it lives
	open             bool    // no path to the connector
}

// cell is a narrow sensor at work.
type cell struct {
	cellSpec
	gas, volts float64
	flutter    drifting
}

func newCell(s cellSpec) *cell {
	return &cell{cellSpec: s, gas: 1, volts: 0.45, flutter: drifting{sd: s.noise, tau: 0.12}}
}

// step returns the cell's open-circuit voltage in gas φ.
func (c *cell) step(s source, phi float64) float64 {
	c.gas = lag(c.gas, phi, c.diffusion)
	to, tau := c.curve.at(c.gas), c.tauLean
	if !math.IsNaN(c.stuck) {
		to = c.stuck
	}
	if to > c.volts {
		tau = c.tauRich
	}
	c.volts = lag(c.volts, to, tau)
	return max(0, c.volts+c.flutter.step(s))
}
