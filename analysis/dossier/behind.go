package dossier

import (
	"slices"
	"sync"

	"pushback/analysis/session"
	"pushback/decode"
)

// behind gives frames to a function some hundreds at a time, in a goroutine of their own and in their order, so that a long
// session's are judged meanwhile. The function is called by one goroutine at a time; who lets go of it early leaves nothing that runs on.
type behind struct {
	take      func(frames)
	now, then frames
	taking    sync.WaitGroup // then
}

// frames are some, with memory of their own for what else is valid for one record only.
type frames struct {
	all     []session.Frame
	samples []decode.Sample
}

const together = 512 // frames

// add gives a frame.
func (b *behind) add(f session.Frame) {
	had := len(b.now.samples)
	b.now.samples = append(b.now.samples, f.Samples...)
	f.Samples = b.now.samples[had:len(b.now.samples):len(b.now.samples)]
	f.Events, f.Beside = slices.Clone(f.Events), slices.Clone(f.Beside)
	if b.now.all = append(b.now.all, f); len(b.now.all) == together {
		b.turn()
	}
}

// turn lets those that came be taken.
func (b *behind) turn() {
	b.taking.Wait()
	clear(b.then.all) // lets go of their records
	b.now, b.then = frames{b.then.all[:0], b.then.samples[:0]}, b.now
	b.taking.Go(func() { b.take(b.then) })
}

// end returns when all are taken.
func (b *behind) end() {
	b.turn()
	b.taking.Wait()
}
