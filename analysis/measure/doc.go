// Package measure turns what a test has forced anyway into figures: propane as a measure of trim and of
// leaks, the oxygen that a catalyst gives and takes, and how well an engine fills. All are findings
// beside the verdict and never one of it. The package is pure.
package measure

// Stoichiometry. NIST chemistry: propane is 44.10 g/mol and burns with 5 mol of oxygen of 32.00 g/mol.
const (
	OxygenInAir    = 0.2315 // part of oxygen in air by mass: 20.9476 % of its molecules, 31.9988 of 28.9644 g/mol (U.S. Standard Atmosphere 1976)
	propaneAir     = 15.7   // g of air that burn a gram of propane: 5 · 32.00 / 44.10 / 0.2315
	propaneDensity = 1.83   // g/L of the gas at 20 °C and 101.3 kPa, as an ideal one
)

// Oxygen is how much oxygen, g, a mixture has too much or too little of that is off by a share of its fuel
// (0.05: 5 %) in seconds of an air flow in g/s: ∫ 0.2315 · airflow · Δφ dt.
func Oxygen(flow, share, seconds float64) float64 { return OxygenInAir * flow * share * seconds }

// PropaneShare is the fuel that litres a minute of propane gas bring, as a share of what an air flow in g/s
// burns with: 0.3 L/min at 2.5 g/s is 0.057.
//
// Special cases are: propane into no air flow is +Inf, none into none NaN.
func PropaneShare(litres, flow float64) float64 {
	return litres / 60 * propaneDensity * propaneAir / flow
}

// PropaneFlow is the other way round: the flow of propane, L/min, that brings that share.
func PropaneFlow(share, flow float64) float64 {
	return share * flow * 60 / (propaneDensity * propaneAir)
}

// Settles is where a loop settles against propane, as [Moved] counts it: −p, for a share p as [PropaneShare] counts it.
//
// Before, trims T0 multiply the base fuel F to what the air A burns: F·(1+T0) = A (in units of fuel). Propane brings p·A
// beside the injectors, and no trim multiplies it: F·(1+T1) + p·A = A. Hence (1+T1)/(1+T0) − 1 = −p, whatever
// T0 was. What trims do multiply, fuel pressure that is too high by p, is F·(1+p)·(1+T1) = A: −p/(1+p), which
// is not propane (nor is p then counted against the air, but against what is still injected); at p = 0.057 the two differ by 0.3 %, less than half a count of trim, at 0.2 by 3 %.
func Settles(p float64) float64 { return -p }

// Moved is by what factor, less one, total trim went from one to another, both in per cent.
//
// Special cases are: from -100 %, no fuel at all, nothing is a factor: ±Inf or NaN.
func Moved(from, to float64) float64 { return (1+to/100)/(1+from/100) - 1 }

// Filled is the air that an engine of a displacement (litres) draws, g/s, if each of its cylinders fills with
// air at that pressure (kPa) and temperature (°C) in every second turn, as an ideal gas
// (R = 287.05 J/(kg K), ISO 2533).
func Filled(kPa, rpm, celsius, litres float64) float64 {
	return 1e3 * (1e3 * kPa * litres / 1e3 * rpm / 120) / (287.05 * (celsius + 273.15))
}
