package poll

import "pushback/obd"

// Ask queues requests that are made once, in order, between the readings: every other
// exchange is one of them until none is left. It is for the goroutine that calls Next,
// before it or between two calls.
func (p *Poller) Ask(requests ...obd.Request) { p.asked = append(p.asked, requests...) }

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
	return req, true
}
