package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"pushback/obd"
	"pushback/obd/simcar"
)

func newSimulate(a *app) *cobra.Command {
	var car, busFlag, listen, drive string
	var seed uint64
	var list, keyOff, stopped bool
	var forces []string
	cmd := &cobra.Command{
		Use:   "simulate",
		Short: "A simulated adapter and car on a pseudo-terminal or a TCP port",
		Long: `Serves a simulated adapter and car in real time until it is stopped. The first line
on standard output is the port to give to the other commands.

Forces are scripted with --force (lean@20s+12s, rich@45s+12s:0.9V,600ohm,
propane@20s+15s, open@20s+3s) or typed: lean [12s], rich [12s], propane [12s],
vacuum [12s], open [3s] (the sensor's branch, nothing touched), release, quit.`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if list {
				return a.listCars()
			}
			if _, ok := drives[drive]; !ok {
				return usagef(cmd, "--drive %q is not idle, fast or town", drive)
			}
			bus := obd.BusUnknown
			var err error
			if busFlag != "" {
				if bus, err = obd.ParseBus(busFlag); err != nil {
					return usage(cmd, err)
				}
			}
			var script []simcar.Force
			for _, f := range forces {
				force, err := simcar.ParseForce(f)
				if err != nil {
					return usage(cmd, err)
				}
				script = append(script, force)
			}
			sim, err := newSim(cmd, car, simcar.Config{Bus: bus, Seed: seed, Forces: script, KeyOff: keyOff, Stopped: stopped, Drive: drives[drive]})
			if err != nil {
				return err
			}
			ctx, cancel := context.WithCancel(cmd.Context())
			defer cancel()
			var port string
			if listen != "" {
				l, err := net.Listen("tcp", listen)
				if err != nil {
					return hinted{fmt.Errorf("serving on %s: %w", listen, err), "use another --tcp host:port", statusFailed}
				}
				go accept(ctx, l, sim)
				port = "tcp://" + l.Addr().String()
			} else {
				var stop func()
				if port, stop, err = servePTY(ctx, sim); err != nil {
					return err
				}
				defer stop()
			}
			if a.json {
				err = json.NewEncoder(a.out).Encode(map[string]string{"port": port, "car": car})
			} else {
				_, err = fmt.Fprintln(a.out, port)
			}
			if err != nil {
				return err
			}
			fmt.Fprintf(a.errOut, "car %q; type lean, rich, propane, vacuum, release or quit\n", car)
			go a.obey(sim, cancel)
			<-ctx.Done()
			return nil
		},
	}
	cmd.Flags().StringVar(&car, "car", "healthy", "which `CAR`")
	cmd.Flags().BoolVar(&list, "list", false, "list the cars")
	cmd.Flags().StringVar(&busFlag, "bus", "", "vehicle bus `NAME`; without it the car's own")
	cmd.Flags().Uint64Var(&seed, "seed", 1, "`SEED` of the car's randomness")
	cmd.Flags().StringArrayVar(&forces, "force", nil, "scripted `FORCE`, may be repeated: lean@20s+12s")
	cmd.Flags().BoolVar(&keyOff, "key-off", false, "ignition off: the adapter answers, the car does not")
	cmd.Flags().StringVar(&drive, "drive", "idle", "`HOW` it is driven: idle, fast (2500 rpm, no load) or town")
	cmd.Flags().BoolVar(&stopped, "engine-off", false, "ignition on, engine not running")
	cmd.Flags().StringVar(&listen, "tcp", "", "serve on TCP `HOST:PORT` in place of a pseudo-terminal")
	return cmd
}

// drives are the ways to drive a simulated car.
var drives = map[string]simcar.Drive{"idle": simcar.Idle, "fast": simcar.Fast, "town": simcar.Town}

// obey takes typed forces. The end of the input changes nothing.
func (a *app) obey(sim *simcar.Sim, quit func()) {
	sc := bufio.NewScanner(a.in)
	for sc.Scan() {
		words := strings.Fields(sc.Text())
		switch {
		case len(words) == 0:
		case words[0] == "quit":
			quit()
			return
		case words[0] == "release":
			sim.Release()
		default:
			f, err := typedForce(words)
			if err == nil {
				err = sim.Apply(f)
			}
			if err != nil {
				fmt.Fprintln(a.errOut, err)
			}
		}
	}
}

// typedForce reads 'lean' or 'lean 12s'; without a length it lasts until release.
func typedForce(words []string) (simcar.Force, error) {
	f := simcar.Force{Kind: simcar.ForceKind(words[0])}
	if f.Validate() != nil || len(words) > 2 {
		return simcar.Force{}, fmt.Errorf("not understood: %q (lean, rich, propane, vacuum or open with a length such as 12s; release; quit)",
			strings.Join(words, " "))
	}
	if len(words) == 2 {
		d, err := time.ParseDuration(words[1])
		if err != nil || d <= 0 {
			return simcar.Force{}, fmt.Errorf("%q is not a length such as 12s", words[1])
		}
		f.For = d
	}
	return f, nil
}

// newSim makes the simulated car; an unknown name is wrong usage.
func newSim(cmd *cobra.Command, car string, cfg simcar.Config) (*simcar.Sim, error) {
	c, err := simcar.Find(car)
	if err != nil {
		return nil, usage(cmd, fmt.Errorf("there is no car %q; --car takes one of: %s", car, strings.Join(carNames(), ", ")))
	}
	cfg.Car = c
	return simcar.New(cfg)
}

func carNames() []string {
	var names []string
	for _, c := range simcar.Cars() {
		names = append(names, c.Name)
	}
	return names
}

func (a *app) listCars() error {
	if a.json {
		type car struct {
			Name  string `json:"name"`
			About string `json:"about"`
		}
		cars := []car{}
		for _, c := range simcar.Cars() {
			cars = append(cars, car{c.Name, c.About})
		}
		return json.NewEncoder(a.out).Encode(cars)
	}
	w := tabwriter.NewWriter(a.out, 0, 4, 2, ' ', 0)
	for _, c := range simcar.Cars() {
		fmt.Fprintf(w, "%s\t%s\n", c.Name, c.About)
	}
	return w.Flush()
}
