package rig

import (
	"context"
	"path/filepath"
	"strings"

	"pushback/obd"
	"pushback/obd/seriallink"
	"pushback/obd/tcplink"
)

// Port is where the adapter is: a serial device or an address.
type Port struct {
	Name   string          // /dev/ttyUSB0, COM4, tcp://host:port
	Baud   int             // serial speed; 0: it is found
	device seriallink.Port // the port as it was listed when it was first opened
}

// Open opens the line; a speed that was found is kept for the next time.
func (p *Port) Open(ctx context.Context) (obd.Link, error) {
	if addr, ok := strings.CutPrefix(p.Name, "tcp://"); ok {
		return tcplink.Dial(ctx, addr)
	}
	name := p.now()
	if p.Baud > 0 {
		return seriallink.Open(name, p.Baud)
	}
	link, baud, err := seriallink.FindBaud(ctx, name)
	p.Baud = baud
	return link, err
}

// now is the port's present name: a cable that was pulled out and put back may have got
// another one. Only USB devices can be told apart; other ports are not looked at, for
// looking opens them.
func (p *Port) now() string {
	if !strings.Contains(p.Name, "USB") && !strings.Contains(p.Name, "ACM") && !strings.HasPrefix(p.Name, "COM") {
		return p.Name
	}
	ports, err := seriallink.Ports()
	if err != nil {
		return p.Name
	}
	if p.device.Name != "" {
		if name, ok := seriallink.Again(p.device, ports); ok {
			return name
		}
		return p.Name
	}
	for _, listed := range ports {
		if listed.Name == p.Name {
			p.device = listed
		}
	}
	return p.Name
}

// MaxBaud is the serial speed up to which the adapter may be asked to go: not where the
// person has named a speed, nor where the line has none.
func (p *Port) MaxBaud() int {
	path, err := filepath.EvalSymlinks(p.Name)
	if p.Baud > 0 || strings.HasPrefix(p.Name, "tcp://") || err == nil && strings.HasPrefix(path, "/dev/pts/") {
		return 0
	}
	return 500_000
}
