package dossier

import (
	"slices"
	"sync"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
)

// bundler gives frames to a function some hundreds at a time, in their order: to lead many samples through one collector after the other takes
// half of the time of one sample through all. That is in a goroutine of its own, one at a time, so that a long session's are judged meanwhile; who
// lets go of it early leaves nothing that runs on.
type bundler struct {
	take      func(bundle)
	now, then bundle
	plain     bool           // the last of now tells nothing but samples
	taking    sync.WaitGroup // then
}

// bundle is some frames, with memory of their own for what else is valid for one record only.
type bundle struct {
	all     []session.Frame
	samples []decode.Sample
}

const together = 1024 // samples or frames

// add gives a frame. One that tells nothing but samples is one with those before it: it is the first's record with the samples of all.
func (b *bundler) add(f *session.Frame) {
	n := len(f.Samples)
	b.now.samples = append(b.now.samples, f.Samples...)
	plain := f.Record.Exchange != nil && f.Record.Exchange.Outcome == obd.OK && len(f.Events) == 0 && len(f.Beside) == 0 && !f.Last
	last := len(b.now.all) - 1
	if plain && b.plain && last >= 0 {
		n += len(b.now.all[last].Samples)
	} else {
		b.now.all = append(b.now.all, *f)
		last++
		b.now.all[last].Events, b.now.all[last].Beside = slices.Clone(f.Events), slices.Clone(f.Beside)
	}
	b.plain = plain
	end := len(b.now.samples)
	b.now.all[last].Samples = b.now.samples[end-n : end : end]
	if max(end, last+1) >= together {
		b.turn()
	}
}

// turn lets those that came be taken.
func (b *bundler) turn() {
	b.taking.Wait()
	clear(b.then.all) // lets go of their records
	b.now, b.then = bundle{b.then.all[:0], b.then.samples[:0]}, b.now
	b.taking.Go(func() { b.take(b.then) })
}

// end returns when all are taken.
func (b *bundler) end() {
	b.turn()
	b.taking.Wait()
}
