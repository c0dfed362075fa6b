package unseenwide

// pump is a sensor maker's public table, equivalence ratio φ = 1/λ and current in mA; air, φ 0, is 2.54 mA
// (from memory).
var pump = [][2]float64{
	{0, 2.54}, {1 / 1.99, 1.150}, {1 / 1.70, 0.938}, {1 / 1.43, 0.671}, {1 / 1.18, 0.329}, {1 / 1.003, 0}, {1 / 0.99, -0.040}, {1 / 0.97, -0.106}, {1 / 0.95, -0.183},
	{1 / 0.90, -0.405}, {1 / 0.85, -0.652}, {1 / 0.82, -0.800}, {1 / 0.80, -0.927}, {1 / 0.75, -1.243}, {1 / 0.70, -1.602}, {1 / 0.65, -2.000},
}

// along reads the table from column a to column b; it ends where it ends.
func along(x float64, a, b int) float64 {
	i := 1
	for i < len(pump)-1 && (x > pump[i][a]) == (a == 0) {
		i++
	}
	p, q := pump[i-1], pump[i]
	return p[b] + clamp((x-p[a])/(q[a]-p[a]), 0, 1)*(q[b]-p[b])
}

func current(phi float64) float64 { return along(phi, 0, 1) }
func measured(mA float64) float64 { return along(mA, 1, 0) }

// steady is φ as it is read of gas that stays.
func (c *cellSpec) steady(phi float64) float64 {
	return measured(c.slope*current(phi)) * (1 + c.offset)
}

// Where pairs are, they are towards rich and towards lean.
const (
	rich = iota
	lean
)

// cellSpec is a wide-range sensor with its input.
type cellSpec struct {
	slope, offset float64    // of the pump current; of φ
	tau           [2]float64 // s
	noise         float64    // of φ
	ceiling       float64    // the leanest λ that is told
	stuck         float64    // λ at which it lies dead; 0: it lives
}

// gain is what a per cent of fuel shows as, between 4 % lean and 4 % rich.
func (c *cellSpec) gain() float64 { return (c.steady(1.04) - c.steady(0.96)) / 0.08 }

// cell is its state: what its tip is at.
type cell struct {
	cellSpec
	tip, gauss float64
}

// step lets gas of φ pass and returns φ as the computer's input has it.
func (c *cell) step(dt, phi, gauss float64) float64 {
	way := lean
	if phi > c.tip {
		way = rich
	}
	c.tip = toward(c.tip, phi, dt, c.tau[way])
	c.gauss = wander(c.gauss, dt, 0.03, gauss)
	if c.stuck != 0 {
		return 1/c.stuck + 0.0002*c.gauss
	}
	return max(c.steady(c.tip)+c.noise*c.gauss, 1/c.ceiling)
}
