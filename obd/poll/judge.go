package poll

import (
	"fmt"

	"pushback/obd"
)

// judge draws the consequences of one exchange.
func (p *Poller) judge(x *obd.Record, items []*item, err error) {
	now := p.now()
	good := x.Outcome == obd.OK || x.Outcome == obd.Refused
	if p.deferred.Again(x) {
		p.lastGood, p.wasGood = now, true
		p.urgent = append([]obd.Request{{Service: x.Request.Service, Data: x.Request.Data}}, p.urgent...)
		return
	}
	if s := x.Request.Service; (s == 0x03 || s == 0x07) && p.plan.counted(x.Exchange) {
		p.urgent = append(p.urgent, obd.Request{Service: s})
	}
	packed := x.Request.Service == 0x01 && len(x.Request.Data) > 1
	twice := packed && len(x.Request.Data) == 2 && x.Request.Data[0] == x.Request.Data[1]
	if good {
		p.lastGood = now
	}
	switch x.Outcome {
	case obd.OK:
		for _, it := range items {
			it.misses = 0
		}
		if packed {
			p.unpacked = 0
			if !twice {
				p.plan.fell(items, p.came, now)
			}
		}
		if x.Request.Expect > 0 {
			delete(p.plan.noCount, x.Request.Hex())
		}
		for _, t := range p.trims {
			t.observe(p.samples)
		}
		p.watchCodes()
	case obd.NoData, obd.Refused, obd.Garbled:
		if x.Request.Expect > 0 {
			p.plan.noCount[x.Request.Hex()]++
		}
		if !p.wasGood { // the car as a whole is silent, or the line is bad
			break
		}
		if packed {
			if p.unpacked++; p.unpacked < maxMisses {
				break
			}
			if p.unpacked = 0; twice {
				p.plan.double = false
			} else {
				p.plan.multi = false
			}
			break
		}
		for _, it := range items {
			if it.misses++; it.misses >= maxMisses && !it.fast && x.Outcome != obd.Garbled {
				p.plan.drop(it)
			}
		}
	}
	p.wasGood = good
	switch {
	case x.Outcome == obd.LinkLost:
		p.broken, p.lost = err, true
	case x.Outcome == obd.AdapterReset:
		p.broken = fmt.Errorf("adapter restarted: %w", obd.ErrNoAdapter)
	case !good && now-p.lastGood >= reinitAfter:
		p.broken = cause(x.Outcome)
	}
}

// came tells whether the last samples hold a value of the item, or whether it has none
// to give (a status, a bitmap).
func (p *Poller) came(it *item) bool {
	missing := false
	for _, s := range p.samples {
		if s.Signal.Service == it.service && s.Signal.PID == it.pid {
			if !s.Missing {
				return true
			}
			missing = true
		}
	}
	return !missing
}

// watchCodes reads the codes at once when PID 01 shows that they changed.
func (p *Poller) watchCodes() {
	for _, s := range p.samples {
		if s.Missing || s.Signal.Name != "MIL" && s.Signal.Name != "DTC_CNT" {
			continue
		}
		if p.codes == nil {
			p.codes = map[string]float64{}
		}
		if old, ok := p.codes[s.Signal.Name]; ok && old != s.Value && len(p.urgent) == 0 {
			p.urgent = []obd.Request{{Service: 0x07}, {Service: 0x03}}
		}
		p.codes[s.Signal.Name] = s.Value
	}
}

// cause is the error for an outcome that is not good.
func cause(o obd.Outcome) error {
	switch o {
	case obd.LinkLost:
		return obd.ErrLinkLost
	case obd.TimedOut, obd.AdapterReset:
		return obd.ErrNoAdapter
	}
	return obd.ErrNoVehicle
}
