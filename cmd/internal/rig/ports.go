package rig

import (
	"context"
	"errors"
	"fmt"
	"time"

	"pushback/obd"
	"pushback/obd/seriallink"
)

// probeTime is how long one port may take to show an adapter.
const probeTime = 8 * time.Second

// PortAnswer is a serial port, and what answered at it.
type PortAnswer struct {
	Port    string `json:"port"`
	Product string `json:"product"`
	USB     bool   `json:"usb"`
	Probed  bool   `json:"probed"`
	Adapter bool   `json:"adapter"` // it answers as an adapter
	Baud    int    `json:"baud"`    // 0 unknown
	Trouble string `json:"trouble"` // why it could not be asked, "" if it could

	Err error `json:"-"` // the same; nil where it only did not answer in time
}

// ListPorts lists the ports without sending anything to them.
func ListPorts(ports []seriallink.Port) []PortAnswer {
	list := []PortAnswer{}
	for _, p := range ports {
		list = append(list, PortAnswer{Port: p.Name, Product: p.Product, USB: p.USB})
	}
	return list
}

// Probe asks whether an adapter is at the port. The error is the context's.
func (p *PortAnswer) Probe(ctx context.Context) error {
	short, cancel := context.WithTimeout(ctx, probeTime)
	defer cancel()
	link, baud, err := seriallink.FindBaud(short, p.Port)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	p.Probed = true
	var inLink *obd.LinkError
	switch {
	case err == nil:
		_ = link.Close()
		p.Adapter, p.Baud = true, baud
	case errors.Is(err, context.DeadlineExceeded):
		p.Trouble = "no adapter answered in time"
	case errors.As(err, &inLink):
		p.Trouble, p.Err = inLink.Err.Error(), err // the port stands beside it
	default:
		p.Trouble, p.Err = err.Error(), err
	}
	return nil
}

// String says what answered.
func (p *PortAnswer) String() string {
	switch {
	case p.Adapter:
		return fmt.Sprintf("an adapter answers at %d baud", p.Baud)
	case p.Probed:
		return p.Trouble
	}
	return "not asked"
}
