package main

import "github.com/spf13/cobra"

func newRecord(a *app) *cobra.Command {
	var f liveFlags
	cmd := &cobra.Command{
		Use:   "record --port PORT",
		Short: "Record a session; lean and rich steps are found automatically",
		Long: `Records without guiding. Force the sensor when you like: the watcher finds the
force and judges. Ctrl-C, q, the line 'stop' or --for end the session.

Without --by a wide-range sensor is judged by the mixture, a narrow one behind the
catalyst by the drive (fuel cuts must bring it lean, full load rich), any other by its wire.

Lines on standard input are marks: mark lean, mark rich, mark release, note TEXT,
stop. In a terminal the same are keys: l, r, space, n, q.`,
		Args: named(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, err := f.run(cmd, a)
			if err != nil {
				return err
			}
			if r.look.car.beside != "" {
				return usagef(cmd, "'test' leads through both wires; 'record' takes one sensor")
			}
			r.name, r.ask = "record", !cmd.Flags().Changed("by")
			return a.runLive(cmd.Context(), r)
		},
	}
	f.car.add(cmd)
	f.add(cmd)
	return cmd
}

// run checks the flags of a session on a real adapter.
func (f *liveFlags) run(cmd *cobra.Command, a *app) (liveRun, error) {
	if err := f.car.pair(cmd, f.by); err != nil {
		return liveRun{}, err
	}
	l, err := f.car.look(cmd, a.db)
	if err != nil {
		return liveRun{}, err
	}
	by, err := parseBy(cmd, f.by)
	if err != nil {
		return liveRun{}, err
	}
	if f.dur < 0 {
		return liveRun{}, usagef(cmd, "--for %v is negative", f.dur)
	}
	if !(f.propane >= 0 && f.propane <= 30) {
		return liveRun{}, usagef(cmd, "--propane %v L/min is not possible", f.propane)
	}
	return liveRun{look: l, flags: *f, by: by, origin: "live"}, nil
}
