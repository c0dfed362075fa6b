package obdtest

import (
	"math/rand/v2"
	"os"
	"time"

	"pushback/obd"
)

// Rates are the chances, per byte, of what can happen on a bad line.
type Rates struct {
	Lose   float64 // it is swallowed
	Flip   float64 // one of its bits changes
	Change float64 // it becomes any other byte
	Double float64 // it comes twice
	Delay  float64 // it and all behind it are held up, for up to 3 s
	Splice float64 // up to 40 bytes from it are cut out, or bytes that passed before are put in
}

// Noise is a line that damages what passes, both ways.
type Noise struct {
	obd.Link
	Rates
	Hits int // how often it did something

	clock    obd.Clock
	rng      *rand.Rand
	deadline time.Time
	out      []heldByte // to the reader
	ways     [2]way
	until    time.Time // bytes are held up
}

type heldByte struct {
	at time.Time
	b  byte
}

// way is one direction.
type way struct {
	past []byte // the last bytes that passed
	cut  int    // bytes still to be cut out
}

// NewNoise damages l by chance that follows from the seed.
func NewNoise(l obd.Link, c obd.Clock, r Rates, seed uint64) *Noise {
	return &Noise{Link: l, Rates: r, clock: c, rng: rand.New(rand.NewPCG(seed, 0x6E6F697365))}
}

// damage returns what becomes of one byte.
func (n *Noise) damage(w *way, b byte) []byte {
	w.past = append(w.past, b)
	if len(w.past) > 64 {
		w.past = w.past[32:]
	}
	if w.cut > 0 {
		w.cut--
		return nil
	}
	hit := func(p float64) bool {
		yes := p > 0 && n.rng.Float64() < p
		if yes {
			n.Hits++
		}
		return yes
	}
	switch {
	case hit(n.Lose):
		return nil
	case hit(n.Flip):
		return []byte{b ^ 1<<n.rng.IntN(8)}
	case hit(n.Change):
		return []byte{b ^ byte(1+n.rng.IntN(255))}
	case hit(n.Double):
		return []byte{b, b}
	case hit(n.Splice):
		if n.rng.IntN(2) == 0 {
			w.cut = n.rng.IntN(40)
			return nil
		}
		from := n.rng.IntN(len(w.past))
		to := from + n.rng.IntN(min(40, len(w.past)-from))
		return append(append([]byte(nil), w.past[from:to]...), b)
	}
	return []byte{b}
}

// Write passes p on, damaged.
func (n *Noise) Write(p []byte) (int, error) {
	var out []byte
	for _, b := range p {
		out = append(out, n.damage(&n.ways[0], b)...)
	}
	if len(out) > 0 {
		if _, err := n.Link.Write(out); err != nil {
			return 0, err
		}
	}
	return len(p), nil
}

// SetReadDeadline sets when Read gives up.
func (n *Noise) SetReadDeadline(t time.Time) error {
	n.deadline = t
	return n.Link.SetReadDeadline(t)
}

// Read returns what has come through.
func (n *Noise) Read(p []byte) (int, error) {
	for {
		now := n.clock.Now()
		k := 0
		for k < len(p) && k < len(n.out) && !n.out[k].at.After(now) {
			p[k] = n.out[k].b
			k++
		}
		if k > 0 {
			n.out = n.out[k:]
			return k, nil
		}
		until := n.deadline
		if len(n.out) > 0 && n.out[0].at.Before(until) {
			until = n.out[0].at
		}
		if err := n.Link.SetReadDeadline(until); err != nil {
			return 0, err
		}
		var buf [64]byte
		got, err := n.Link.Read(buf[:])
		now = n.clock.Now()
		if err != nil && (!os.IsTimeout(err) || !now.Before(n.deadline) && (len(n.out) == 0 || n.out[0].at.After(now))) {
			return 0, err
		}
		for _, b := range buf[:got] {
			if n.Delay > 0 && n.rng.Float64() < n.Delay {
				n.Hits++
				n.until = now.Add(time.Duration(n.rng.Float64() * float64(3*time.Second)))
			}
			at := now
			if at.Before(n.until) {
				at = n.until
			}
			for _, d := range n.damage(&n.ways[1], b) {
				n.out = append(n.out, heldByte{at, d})
			}
		}
	}
}
