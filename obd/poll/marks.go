package poll

import (
	"time"

	"pushback/obd"
)

type mark struct {
	obd.Mark
	at time.Duration
}

// Mark enters what the technician says, with the present moment, between two
// exchanges. MarkStop also stops.
func (p *Poller) Mark(m obd.Mark) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.marks = append(p.marks, mark{m, p.now()})
	p.stopped = p.stopped || m.Kind == obd.MarkStop
	p.hurryUp()
}

// hurryUp ends an attempt to mend; p.mu is held.
func (p *Poller) hurryUp() {
	if p.hurry != nil {
		p.hurry()
	}
}

// Stop ends the session: the trouble codes are read once more, then Next returns
// io.EOF.
func (p *Poller) Stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stopped = true
	p.hurryUp()
}

func (p *Poller) takeMark() (obd.Record, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.marks) == 0 {
		return obd.Record{}, false
	}
	m := p.marks[0]
	p.marks = p.marks[1:]
	p.plan.announce(m.Kind, p.now())
	return p.number(obd.Record{At: m.at, Mark: &m.Mark}), true
}

func (p *Poller) stopping() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.stopped
}
