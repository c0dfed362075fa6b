package seriallink

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial/enumerator"
)

// Port is a serial port of this machine. Pseudo-terminals are not among them.
type Port struct {
	Name    string // what Open takes
	Product string // what the USB device calls itself; "" if unknown
	USB     bool

	device string // which device it is: USB vendor, product and serial number; "" if unknown
}

// Ports lists the serial ports, those on USB first.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	ports := make([]Port, 0, len(found))
	for _, p := range found {
		ports = append(ports, Port{Name: p.Name, Product: p.Product, USB: p.IsUSB, device: device(p)})
	}
	slices.SortStableFunc(ports, func(a, b Port) int {
		if a.USB != b.USB {
			if a.USB {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Name, b.Name)
	})
	return ports, nil
}

func device(p *enumerator.PortDetails) string {
	if !p.IsUSB {
		return ""
	}
	return p.VID + ":" + p.PID + ":" + p.SerialNumber
}

// Again returns the name under which a port's device is now: a cable that was pulled out
// and put back may get another. was is the entry of [Ports] from before, now are those of
// the present. It is the old name where that is there, else that of the only port
// with the same device; false when there is none, or more than one.
func Again(was Port, now []Port) (string, bool) {
	found, n := "", 0
	for _, p := range now {
		if p.Name == was.Name {
			return p.Name, true
		}
		if was.device != "" && p.device == was.device {
			found = p.Name
			n++
		}
	}
	return found, n == 1
}
