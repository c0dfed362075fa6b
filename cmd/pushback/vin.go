package main

import (
	"pushback/analysis/session"
	"pushback/decode"
	"pushback/store"
)

// vinKeeper is a sink that keeps the vehicle's identification number with the session,
// for who asked to have it read.
type vinKeeper struct{ keep func(func(*store.Meta)) error }

func (k *vinKeeper) Write(f session.Frame) error {
	x := f.Record.Exchange
	if k.keep == nil || x == nil || len(x.Replies) == 0 || !store.TellsVIN(x.Request.Hex()) {
		return nil
	}
	var one [][]byte // of the computer that answered first
	for _, r := range x.Replies {
		if r.From == x.Replies[0].From {
			one = append(one, r.Data)
		}
	}
	vin, err := decode.VIN(one...)
	if err != nil { // the reply is in the record
		return nil
	}
	keep := k.keep
	k.keep = nil
	return keep(func(m *store.Meta) { m.VIN = vin })
}
