package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/obd"
	"pushback/obd/seriallink"
)

// listPorts is replaced in tests: a machine's real ports are not theirs.
var listPorts = seriallink.Ports

func newPorts(a *app) *cobra.Command {
	var noProbe bool
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "List serial ports and which have an adapter",
		Args:  named(),
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.runPorts(cmd.Context(), !noProbe) },
	}
	cmd.Flags().BoolVar(&noProbe, "no-probe", false, "list only; send nothing to any port")
	return cmd
}

func (a *app) runPorts(ctx context.Context, probe bool) error {
	list, err := listPorts()
	if err != nil {
		return fmt.Errorf("listing serial ports: %w", err)
	}
	ports, found := rig.ListPorts(list), false
	var worst error
	for i := range ports {
		if probe {
			fmt.Fprintf(a.errOut, "asking %s …\n", ports[i].Port)
			if err := ports[i].Probe(ctx); err != nil {
				return err
			}
			found, worst = found || ports[i].Adapter, cmp.Or(worst, ports[i].Err)
		}
	}
	if err := a.print(ports, func() error { return sheet.WritePorts(a.out, ports) }); err != nil || a.json || !probe || found || worst == nil {
		return err
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
