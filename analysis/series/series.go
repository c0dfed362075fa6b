// Package series keeps the readings of one signal over hours in little room: some 5 bytes each
// where a Go value takes 16. It is pure.
package series

import (
	"encoding/binary"
	"iter"
	"math"
	"sort"
	"time"
)

// Point is one reading: time (s) and value.
type Point struct{ T, V float64 }

// Series is readings in the order in which they were added, which is that of time. What goes in
// comes out bit by bit. The zero Series is empty. Adding is not safe beside reading; any number may
// read at once.
//
// A reading is its step in time and the place of its value among those that came before, both as
// varints: a computer tells a signal in a few hundred values. The step is in µs, as times mostly are whole ones.
type Series struct {
	blocks []block
	n      int
	last   time.Duration
	values []float64
	places map[uint64]int // of values, by their bits
	latest int            // place of the last reading's value
	near   [64]int        // places of some values, by a hash
}

// block is so many readings, the last one fewer. Its first step is from zero.
type block struct {
	first time.Duration
	bytes []byte
}

const perBlock = 1024

// Len is how many readings there are.
func (s *Series) Len() int { return s.n }

// Add adds a reading.
func (s *Series) Add(at time.Duration, v float64) {
	if s.n%perBlock == 0 {
		size := 0
		if k := len(s.blocks); k > 0 {
			size = len(s.blocks[k-1].bytes)
			s.blocks[k-1].bytes = append(make([]byte, 0, size), s.blocks[k-1].bytes...) // without what is spare
		}
		s.blocks = append(s.blocks, block{first: at, bytes: make([]byte, 0, size+size/8)})
		s.last = 0
	}
	b := &s.blocks[len(s.blocks)-1]
	step := int64(at-s.last) << 1 // its lowest bit: it is in µs
	if us := (at - s.last) / time.Microsecond; us*time.Microsecond == at-s.last {
		step = int64(us)<<1 | 1
	}
	place := s.place(v)
	if z := uint64(step<<1) ^ uint64(step>>63); z>>14 > 0 && z>>21 == 0 && place < 1<<14 { // as most are
		if b.bytes = append(b.bytes, byte(z)|0x80, byte(z>>7)|0x80, byte(z>>14), byte(place)); place >= 0x80 {
			b.bytes[len(b.bytes)-1] |= 0x80
			b.bytes = append(b.bytes, byte(place>>7))
		}
	} else {
		b.bytes = binary.AppendUvarint(binary.AppendUvarint(b.bytes, z), uint64(place))
	}
	s.last = at
	s.n++
}

func (s *Series) place(v float64) int {
	bits := math.Float64bits(v)
	if len(s.values) > 0 && math.Float64bits(s.values[s.latest]) == bits {
		return s.latest // most often
	}
	near := &s.near[bits*0x9E3779B97F4A7C15>>58]
	if *near < len(s.values) && math.Float64bits(s.values[*near]) == bits {
		s.latest = *near
		return s.latest
	}
	i, ok := s.places[bits]
	if !ok {
		if s.places == nil {
			s.places = make(map[uint64]int)
		}
		i = len(s.values)
		s.values, s.places[bits] = append(s.values, v), i
	}
	s.latest, *near = i, i
	return i
}

// Values are those that the readings have, each once, in the order in which they came first; they are not to be changed.
func (s *Series) Values() []float64 { return s.values }

// Index is the number of readings before time t (s): the index of the first that is not.
func (s *Series) Index(t float64) int {
	k := sort.Search(len(s.blocks), func(i int) bool { return s.blocks[i].first.Seconds() >= t })
	if k == 0 {
		return 0
	}
	i := (k - 1) * perBlock
	for p := range s.Range(i, min(k*perBlock, s.n)) {
		if p.T >= t {
			break
		}
		i++
	}
	return i
}

// At is the reading with index i; it panics where there is none.
func (s *Series) At(i int) Point {
	if i < 0 || i >= s.n {
		panic("series: index out of range")
	}
	for p := range s.Range(i, i+1) {
		return p
	}
	return Point{}
}

// All are all readings.
func (s *Series) All() iter.Seq[Point] { return s.Range(0, s.n) }

// Range are the readings from index i to below j.
func (s *Series) Range(i, j int) iter.Seq[Point] {
	return func(yield func(Point) bool) {
		for k := i / perBlock; k*perBlock < j && k < len(s.blocks); k++ {
			var at time.Duration
			b := s.blocks[k].bytes
			for at0 := k * perBlock; len(b) > 0 && at0 < j; at0++ {
				var zigzag, place uint64
				if len(b) > 4 && b[0] >= 0x80 && b[1] >= 0x80 && b[2] < 0x80 && (b[3] < 0x80 || b[4] < 0x80) { // as Add writes most
					zigzag, place = uint64(b[0]&0x7F)|uint64(b[1]&0x7F)<<7|uint64(b[2])<<14, uint64(b[3])
					if place < 0x80 {
						b = b[4:]
					} else {
						place += uint64(b[4])<<7 - 0x80
						b = b[5:]
					}
				} else {
					zigzag, place, b = two(b)
				}
				step := int64(zigzag>>1) ^ -int64(zigzag&1)
				if step&1 != 0 {
					at += time.Duration(step>>1) * time.Microsecond
				} else {
					at += time.Duration(step >> 1)
				}
				if at0 >= i && !yield(Point{at.Seconds(), s.values[place]}) {
					return
				}
			}
		}
	}
}

// two takes two varints off.
func two(b []byte) (zigzag, place uint64, rest []byte) {
	zigzag, n := binary.Uvarint(b)
	place, m := binary.Uvarint(b[n:])
	return zigzag, place, b[n+m:]
}
