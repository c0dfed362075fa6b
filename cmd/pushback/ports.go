package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/seriallink"
)

// listPorts is replaced in tests: a machine's real ports are not theirs.
var listPorts = seriallink.Ports

// probeTime is how long one port may take to show an adapter.
const probeTime = 8 * time.Second

func newPorts(a *app) *cobra.Command {
	var noProbe bool
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "List serial ports and say which answer as an adapter",
		Args:  args(cobra.NoArgs),
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.ports(cmd.Context(), !noProbe) },
	}
	cmd.Flags().BoolVar(&noProbe, "no-probe", false, "list only; send nothing to any port")
	return cmd
}

// portReport is one line of `ports`.
type portReport struct {
	Port    string `json:"port"`
	Product string `json:"product"`
	USB     bool   `json:"usb"`
	Probed  bool   `json:"probed"`
	Adapter bool   `json:"adapter"` // it answers as an adapter
	Baud    int    `json:"baud"`    // 0 unknown
	Trouble string `json:"trouble"` // why it could not be asked, "" if it could
}

func (a *app) ports(ctx context.Context, probe bool) error {
	list, err := listPorts()
	if err != nil {
		return fmt.Errorf("listing serial ports: %w", err)
	}
	reports := []portReport{}
	var worst error
	for _, p := range list {
		r := portReport{Port: p.Name, Product: p.Product, USB: p.USB, Probed: probe}
		if probe {
			fmt.Fprintf(a.errOut, "asking %s …\n", p.Name)
			short, cancel := context.WithTimeout(ctx, probeTime)
			link, baud, err := seriallink.FindBaud(short, p.Name)
			cancel()
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err == nil:
				_ = link.Close()
				r.Adapter, r.Baud = true, baud
			case errors.Is(err, context.DeadlineExceeded):
				r.Trouble = "no adapter answered in time"
			default:
				r.Trouble = err.Error()
				if le := (*obd.LinkError)(nil); errors.As(err, &le) {
					r.Trouble = le.Err.Error() // the port is in the column before
				}
				if worst == nil {
					worst = err
				}
			}
		}
		reports = append(reports, r)
	}
	if a.json {
		return json.NewEncoder(a.out).Encode(reports)
	}
	if len(list) == 0 {
		fmt.Fprintln(a.out, "no serial ports")
		fmt.Fprintln(a.out, "  what to do: plug the adapter in; a Bluetooth adapter must be paired and bound to a port first; one on the network is --port tcp://host:port")
		return nil
	}
	w := tabwriter.NewWriter(a.out, 0, 4, 2, ' ', 0)
	found := false
	for _, r := range reports {
		answer := "not asked"
		switch {
		case r.Adapter:
			found = true
			answer = fmt.Sprintf("an adapter answers at %d baud", r.Baud)
		case r.Probed:
			answer = r.Trouble
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", r.Port, sheet.Short(r.Product), answer)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if !probe || found || worst == nil {
		return nil
	}
	hint := "plug the adapter into the car's socket so that it has power, and ask again; a Bluetooth adapter must be paired and bound to a port first"
	if !errors.Is(worst, obd.ErrNoAdapter) {
		_, hint, _ = describe(worst)
	}
	if hint != "" {
		fmt.Fprintln(a.out, "  what to do:", hint)
	}
	return nil
}
