package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/session"
	"pushback/cmd/internal/term"
	"pushback/obd"
	"pushback/store"
)

func newReplay(a *app) *cobra.Command {
	var sensor, by string
	var samples bool
	var speed float64
	cmd := &cobra.Command{
		Use:   "replay SESSION",
		Short: "Run a stored session through the watcher again",
		Long: `Judges the stored records again, as fast as it can; the events and the verdict are
those of the live session, byte for byte, unless the program has learned since.
Nothing stored is changed. The exit status is the verdict's.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if speed < 0 {
				return usagef(cmd, "--speed %v is negative", speed)
			}
			return a.withStore(cmd, func(db *store.Store) error {
				m, err := db.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if sensor != "" {
					if err := checkSensor(sensor); err != nil {
						return usage(cmd, err)
					}
					m.Watching = sensor
				}
				if by != "" {
					mixture, err := byMixture(cmd, by)
					if err != nil {
						return err
					}
					m.By = byName(mixture)
				}
				return a.replay(cmd.Context(), db, m, samples, speed)
			})
		},
	}
	cmd.Flags().StringVar(&sensor, "sensor", "", "judge as if this `SENSOR` had been forced")
	cmd.Flags().StringVar(&by, "by", "", "judge as if `WHAT` was forced: wire or mixture")
	cmd.Flags().BoolVar(&samples, "samples", false, "with --json: print every sample too")
	cmd.Flags().Float64Var(&speed, "speed", 0, "`TIMES` the speed of life; 0 is as fast as possible")
	return cmd
}

func (a *app) replay(ctx context.Context, db *store.Store, m store.Meta, samples bool, speed float64) error {
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return err
	}
	defer reader.Close()
	judge, err := session.NewJudge(watchConfig(m.Watching, m.By == "mixture"), m.Format)
	if err != nil {
		return err
	}
	people, style := a.people(), term.StyleOf(a.people())
	fmt.Fprintf(people, "session %s, %s, watching %s\n", m.ID, day(m.Started), m.Watching)
	var src session.Source = reader
	if speed > 0 {
		src = &paced{Source: reader, speed: speed, began: time.Now()}
	} else {
		style.Live = false
	}
	var sinks []session.Sink
	var jsonl *session.JSONLines
	if a.json {
		jsonl = session.NewJSONLines(a.out, samples)
		if err := jsonl.Begin(header(m)); err != nil {
			return err
		}
		sinks = append(sinks, jsonl)
	}
	if speed == 0 {
		sinks = append(sinks, newProgress(a.errOut, m.Duration))
	}
	sinks = append(sinks, term.NewView(people, style, m.Watching, m.By == "mixture"))
	res, err := session.Run(ctx, src, judge, sinks...)
	if err != nil {
		return err
	}
	if jsonl != nil {
		if err := jsonl.End(res.Verdict); err != nil {
			return err
		}
	}
	style.WriteVerdict(people, res.Verdict, false)
	return conclude(res.Verdict.Conclusion)
}

// paced yields records at a multiple of the speed of life.
type paced struct {
	session.Source
	speed float64
	began time.Time
}

func (p *paced) Next(ctx context.Context) (obd.Record, error) {
	rec, err := p.Source.Next(ctx)
	if err != nil {
		return rec, err
	}
	due := p.began.Add(time.Duration(float64(rec.At) / p.speed))
	return rec, obd.SystemClock{}.Sleep(ctx, time.Until(due))
}
