package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/replay"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/views"
	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
)

// replayFlags are those of a replay beside what it judges.
type replayFlags struct {
	samples bool
	found   bool
	keep    bool    // the judgement with the session
	speed   float64 // 0: as fast as possible
	views   viewFlags
}

func newReplay(a *app) *cobra.Command {
	var sensor, by string
	var f replayFlags
	cmd := &cobra.Command{
		Use:   "replay SESSION",
		Short: "Judge a stored session again",
		Long: `Judges the stored records again, as fast as it can; the events and the verdict are
those of the live session, byte for byte, unless the program has learned since.
With --speed it is shown as it was when it was live: at 1, faster, step by step, back
and forth (the keys are on the screen), with --page on a phone too.
Nothing stored is changed, unless --store is given: then this judgement becomes the
session's, which ends a session whose program died. The exit status is the verdict's.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.speed < 0 {
				return usagef(cmd, "--speed %v is negative", f.speed)
			}
			if f.views.page != "" && f.speed == 0 {
				f.speed = 1 // a page is to be watched
			}
			return a.withStore(cmd, func(db *store.Store) error {
				m, err := db.Find(cmd.Context(), args[0])
				if err != nil {
					return err
				}
				if sensor != "" {
					if _, err := decode.ParseSensorID(sensor); err != nil {
						return usage(cmd, err)
					}
					m.Watching = sensor
				}
				if by != "" {
					if _, err := parseBy(cmd, by); err != nil {
						return err
					}
					m.By = by
				}
				return a.replay(cmd.Context(), db, m, f)
			})
		},
	}
	cmd.Flags().StringVar(&sensor, "sensor", "", "judge as if this `SENSOR` had been tested")
	cmd.Flags().StringVar(&by, "by", "", "treat as a `WHAT` test: wire, mixture or fuelcut")
	cmd.Flags().BoolVar(&f.samples, "samples", false, "with --json: print every sample too")
	cmd.Flags().BoolVar(&f.found, "found", false, foundUsage)
	cmd.Flags().BoolVar(&f.keep, "store", false, "save this judgment instead of the stored one")
	cmd.Flags().Float64Var(&f.speed, "speed", 0, "`TIMES` real time; 0 is as fast as possible")
	f.views.add(cmd)
	return cmd
}

func (a *app) replay(ctx context.Context, db *store.Store, m store.Meta, f replayFlags) error {
	people, style := a.people(), term.StyleOf(a.people())
	fmt.Fprintf(people, "session %s, %s, watching %s\n", m.ID, sheet.Day(m.Started), m.Watching)
	var play *replay.Player
	if f.speed > 0 {
		play = replay.New(f.speed)
	}
	var watch *views.Views
	for {
		setup, err := setupOf(m)
		if err != nil {
			return err
		}
		e := dossier.NewCollector(dossier.Setup{Setup: setup})
		if watch == nil {
			cfg := a.viewConfig(f.views)
			cfg.Kind, cfg.Title, cfg.Name, cfg.Setup, cfg.Verdict = views.Judged, "replay  "+m.Watching+" by "+m.By, m.ID, setup, e.Judge.Verdict
			if play != nil {
				cfg.Kind, cfg.Controls = views.Replay, play.Controls(m.Duration)
			}
			if watch, err = openViews(cfg); err != nil {
				return err
			}
			defer watch.Close(ctx)
			if play != nil {
				play.TellTo(watch.Status)
			}
		} else {
			watch.Restart(e.Judge.Verdict)
		}
		res, err := a.replayOnce(ctx, db, m, f, e, play, watch)
		if errors.Is(err, replay.ErrSeek) {
			play.Again()
			continue
		}
		if errors.Is(err, replay.ErrStopped) {
			watch.Close(ctx)
			style.WriteVerdict(people, res.Verdict, false)
			return conclude(res.Verdict.Conclusion)
		}
		if err != nil {
			return err
		}
		if play != nil && watch.Watched() {
			if !watch.OnScreen() {
				fmt.Fprintln(people, words.StaysForPage)
			}
			resting, cancel := context.WithCancel(ctx)
			back := play.Rest(resting, watch.Left(resting))
			cancel()
			if back {
				play.Again()
				continue // back into it from the end
			}
		}
		if f.keep {
			if err := keepJudgement(ctx, db, m, res); err != nil {
				return err
			}
		}
		watch.Close(ctx)
		fmt.Fprintln(people)
		sheet.WriteVehicleData(people, e.Dossier(res))
		style.WriteVerdict(people, res.Verdict, false)
		return conclude(res.Verdict.Conclusion)
	}
}

// keepJudgement makes a replay's judgement the session's.
func keepJudgement(ctx context.Context, db *store.Store, m store.Meta, res session.Result) error {
	if err := db.Judge(ctx, m.ID, res.End, res.Verdict, res.Events); err != nil {
		return err
	}
	return db.Edit(ctx, m.ID, func(to *store.Meta) { to.Watching, to.By = m.Watching, m.By })
}

// replayOnce is one run of a replay, from the beginning.
func (a *app) replayOnce(ctx context.Context, db *store.Store, m store.Meta, f replayFlags, e *dossier.Collector, play *replay.Player, watch *views.Views) (session.Result, error) {
	reader, err := db.Records(ctx, m.ID)
	if err != nil {
		return session.Result{}, err
	}
	defer reader.Close()
	var src session.Source = reader
	var sinks []session.Sink
	var jsonl *live.JSONLines
	if a.json {
		jsonl = live.NewJSONLines(a.out, f.samples)
		if err := jsonl.Begin(header(m, e.Judge)); err != nil {
			return session.Result{}, err
		}
		sinks = append(sinks, jsonl)
	}
	if play != nil {
		src = play.Pace(reader)
		sinks = append(sinks, play)
	} else {
		ahead, stop := replay.NewAhead(ctx, reader)
		defer stop()
		src = ahead
		sinks = append(sinks, views.NewProgress(a.errOut, "", m.Duration))
	}
	res, err := session.Run(ctx, src, e.Judge, append(sinks, e, watch)...)
	if err == nil && jsonl != nil && f.found {
		err = jsonl.Found(sheet.FoundOf(e.Found, res.Events, e.Judge.Figures(), e.Judge.Setup().Sensor))
	}
	if err == nil && jsonl != nil {
		err = jsonl.End(res.Verdict)
	}
	return res, err
}
