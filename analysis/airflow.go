package analysis

// air is how much air the engine takes, as far as it is read.
type air struct {
	maf, manifold float64 // g/s, kPa; 0: not read
}

// Least that an engine takes where nothing tells: at idle, g/s, and its displacement, l (from memory).
const (
	leastFlow         = 1.5
	leastDisplacement = 1.0
)

// flow is the air flow in g/s, or what it is at least: from the manifold's pressure by the speed-density
// equation, with a small engine, 80 % filling and 40 °C.
func (a *air) flow(rpm float64) float64 {
	switch {
	case a.maf > 0:
		return a.maf
	case a.manifold > 0 && rpm > 0:
		const gasConstant, kelvin, filling = 287.0, 313.0, 0.8
		return a.manifold * leastDisplacement * filling * rpm / 120 / (gasConstant * kelvin) * 1000
	}
	return leastFlow
}
