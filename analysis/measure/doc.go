// Package measure turns what a test has forced anyway into figures: propane as a measure of trim and of
// leaks, the oxygen that a catalyst gives and takes, and how well an engine fills. All are findings
// beside the verdict and never one of it. The package is pure.
package measure

// Stoichiometry. NIST chemistry: propane is 44.10 g/mol and burns with 5 mol of oxygen of 32.00 g/mol.
const (
	OxygenInAir    = 0.2315 // part of oxygen in air by mass
	propaneAir     = 15.7   // g of air that burn a gram of propane
	propaneDensity = 1.83   // g/L of the gas at 20 °C and 101.3 kPa
)

// Oxygen is how much oxygen, g, a mixture has too much or too little of that is off by a share of its fuel
// (0.05: 5 %) in seconds of an air flow in g/s: ∫ 0.2315 · airflow · Δφ dt.
func Oxygen(flow, share, seconds float64) float64 { return OxygenInAir * flow * share * seconds }

// PropaneShare is the fuel that litres a minute of propane gas bring, as a share of what an air flow in g/s
// burns with: 0.3 L/min at 2.5 g/s is 0.057.
func PropaneShare(litres, flow float64) float64 {
	return litres / 60 * propaneDensity * propaneAir / flow
}

// PropaneFlow is the other way round: the flow of propane, L/min, that brings that share.
func PropaneFlow(share, flow float64) float64 {
	return share * flow * 60 / (propaneDensity * propaneAir)
}

// Settles is where trim settles, as a share, against a share p of fuel that is added: −p/(1+p), for it
// multiplies what is injected. Who adds the shares instead finds −p, which at 6 % differs by less than
// half a count of trim.
func Settles(p float64) float64 { return -p / (1 + p) }

// Added is the share of fuel against which trim has moved by u, a share: Settles the other way round.
func Added(u float64) float64 { return -u / (1 + u) }

// Filled is the air that an engine of a displacement (litres) draws, g/s, if each of its cylinders fills with
// air at that pressure (kPa) and temperature (°C) in every second turn, as an ideal gas
// (R = 287.05 J/(kg K), ISO 2533).
func Filled(kPa, rpm, celsius, litres float64) float64 {
	return 1e3 * (1e3 * kPa * litres / 1e3 * rpm / 120) / (287.05 * (celsius + 273.15))
}
