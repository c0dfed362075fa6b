package poll

import (
	"time"

	"pushback/obd"
)

// Ask queues requests that are made once, in order, between the readings: every other
// exchange is one of them until none is left. It is for the goroutine that calls Next,
// before it or between two calls.
//
// What the car's dialect has no words for is left out. In J1979-2 that is a freeze frame PID by
// PID: the request for the code that stored one (02 02) becomes those for the frames of all stored codes.
func (p *Poller) Ask(requests ...obd.Request) {
	for _, r := range requests {
		all := []obd.Request{r}
		if p.plan.dialect == obd.J1979v2 && r.Service == 0x02 && len(r.Data) > 0 && r.Data[0] == 0x02 {
			all = nil
			for _, f := range p.frozen {
				all = append(all, obd.Request{Service: f[0], Data: f[1:]})
			}
		}
		for _, r := range all {
			if _, ok := p.plan.dialect.Words(r); ok {
				p.asked = append(p.asked, r)
			}
		}
	}
}

// Asked returns how many of them are still to come.
func (p *Poller) Asked() int { return len(p.asked) }

// takeAsked returns the next of them, if it is their turn.
func (p *Poller) takeAsked() (obd.Request, bool) {
	p.askTurn = !p.askTurn
	if len(p.asked) == 0 || !p.askTurn || !p.begun {
		return obd.Request{}, false
	}
	req := p.asked[0]
	p.asked = p.asked[1:]
	p.plan.credit = max(0, p.plan.credit-1) // the slow signals wait
	return req, true
}

// Await says whether the answer to a force, or to its release, is awaited from now on: then
// the watched pair gets nearly all of the bus. It ends by itself after 30 s. It is for the
// goroutine that calls Next; marks do the same by themselves.
func (p *Poller) Await(answer bool) { p.plan.await(answer, p.now()) }

// Period is how often a slow signal is read at rest where the bus can carry it, and within
// what time on every bus.
type Period struct{ Every, Within time.Duration }

// Periods returns those of all slow signals, by the request in hexadecimal. It is for the
// goroutine that calls Next.
func (p *Poller) Periods() map[string]Period {
	all := map[string]Period{}
	for _, it := range p.plan.items {
		if !it.fast {
			all[it.request().Hex()] = Period{it.every, it.within}
		}
	}
	return all
}
