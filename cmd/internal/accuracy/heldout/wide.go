package heldout

type wideBank struct {
	target, reads float64
}

func (w *wideBank) sense(phi, dt float64) {}
func (w *wideBank) step(b *bank, c *car)  {}
func pumped(l float64) float64            { return 0 }
