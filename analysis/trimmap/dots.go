package trimmap

import (
	"math"
	"slices"
)

// Dot is readings of one air flow and total trim, %, shortly after each other.
type Dot struct {
	Flow, Total float64
	Count       int
}

// dots are a bank's readings whose air flow is known, in order of their first, those that say the same as one shortly before joined with it.
type dots struct {
	all []Dot
	at  int // of the latest reading
}

const shortly = 8 // dots: trim goes to and fro by a few steps while air flow is read once

func (d *dots) add(r *Reading) {
	if !(r.Flow > 0) || math.IsInf(r.Flow, 1) {
		return
	}
	total := r.Total()
	same := func(x Dot) bool { return x.Flow == r.Flow && x.Total == total }
	if len(d.all) == 0 || !same(d.all[d.at]) { // seldom
		from := max(0, len(d.all)-shortly)
		if i := slices.IndexFunc(d.all[from:], same); i >= 0 {
			d.at = from + i
		} else {
			d.at, d.all = len(d.all), append(d.all, Dot{Flow: r.Flow, Total: total})
		}
	}
	d.all[d.at].Count++
}

// Dots are what a drawing of a bank's trims over air flow can show of its readings; they are not to be changed.
func (d Data) Dots(bank int) []Dot {
	if b := d.gathered()[bank]; b != nil {
		return b.dots.all
	}
	return nil
}
