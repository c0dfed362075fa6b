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
}

// Ports lists the serial ports, those on USB first.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	ports := make([]Port, 0, len(found))
	for _, p := range found {
		ports = append(ports, Port{Name: p.Name, Product: p.Product, USB: p.IsUSB})
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
