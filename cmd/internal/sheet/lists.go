package sheet

import (
	"fmt"
	"io"
	"text/tabwriter"

	"pushback/analysis/dossier"
	"pushback/cmd/internal/rig"
	"pushback/obd/simcar"
)

// Car is the JSON of a simulated car.
type Car struct {
	Name  string `json:"name"`
	About string `json:"about"`
}

// Cars are the simulated cars.
func Cars() []Car {
	return each(append(simcar.Cars(), simcar.Others()...), func(c simcar.Car) Car { return Car{c.Name, c.About} })
}

// WriteCars prints a table of them.
func WriteCars(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	for _, c := range Cars() {
		fmt.Fprintf(w, "%s\t%s\n", c.Name, c.About)
	}
	return w.Flush()
}

// WritePorts prints a table of serial ports.
func WritePorts(out io.Writer, ports []rig.PortAnswer) error {
	if len(ports) == 0 {
		fmt.Fprintln(out, "no serial ports")
		fmt.Fprintln(out, "  what to do: plug the adapter in; a Bluetooth adapter must be paired and bound to a port first; one on the network is --port tcp://host:port")
		return nil
	}
	w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	for _, p := range ports {
		fmt.Fprintf(w, "%s\t%s\t%s\n", p.Port, Short(p.Product), p.String())
	}
	return w.Flush()
}

// Cleared is the JSON of a clearing of codes.
type Cleared struct {
	Session string    `json:"session"`
	Cleared bool      `json:"cleared"`
	Before  CodesRead `json:"before"`
	After   CodesRead `json:"after"`
}

// ClearedOf is what clearing has changed.
func ClearedOf(id string, cleared bool, before, after dossier.VehicleData) Cleared {
	return Cleared{id, cleared, CodesReadOf(before), CodesReadOf(after)}
}

// WriteCleared prints what is still there after clearing.
func WriteCleared(out io.Writer, id string, after dossier.VehicleData) error {
	fmt.Fprintf(out, "cleared; what was there before is in session %s\n", id)
	WriteCodesRead(out, after)
	_, err := fmt.Fprintln(out, "Drive until the monitors are complete again; only then do missing codes say anything.")
	return err
}
