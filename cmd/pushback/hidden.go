package main

import (
	"bufio"
	"context"
	"fmt"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/rig"
	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/simrun"
	"pushback/cmd/internal/words"
	"pushback/obd"
	"pushback/obd/simcar"
	"pushback/obd/simcar/hands"
	"pushback/store"
)

// runHidden makes the guided test of a hidden car in simulated time, shows what was read, asks, and
// tells the truth. The same seed prints the same: the session's own name goes to standard error.
func (a *app) runHidden(ctx context.Context, seed uint64) error {
	car, err := simrun.Hidden(seed)
	if err != nil {
		return err
	}
	sim, err := simcar.New(simcar.Config{Car: car, Seed: seed, BranchByHand: true})
	if err != nil {
		return err
	}
	db, err := a.openStore(ctx)
	if err != nil {
		return err
	}
	defer db.Close()
	cfg := a.reach(look{car: carFlags{sensor: car.Sensor}, clock: sim.Clock(),
		open: func(context.Context) (obd.Link, error) { return sim.Link(), nil }})
	joined, err := rig.Open(ctx, cfg)
	if err != nil {
		return err
	}
	defer joined.Close()
	by := simrun.By(car)
	s, err := joined.Begin(ctx, db, store.Meta{Watching: car.Sensor, By: string(by), Origin: "simulated",
		Vehicle: simrun.HiddenName(seed), Version: versionText()}, &session.GuideConfig{Ready: 12 * time.Second})
	if err != nil {
		return err
	}
	defer s.Close()
	chart := simrun.NewSheet(s.Judge.Setup().Sensor, by == analysis.ByMixture)
	s.Views = append(s.Views, chart)
	s.Technician = &simrun.Technician{Hands: hands.New(hands.Styles[0], sim, car.Sensor), By: by, Controls: s.Controls}
	res, err := s.Run(ctx)
	if err != nil {
		return err
	}
	people := a.people()
	sheet.WriteLesson(people, simrun.HiddenName(seed), chart.Seconds, car.Sensor, by)
	lesson := sheet.LessonOf(seed, s.Meta.ID, chart.Seconds, by, car, res.Verdict)
	in := bufio.NewScanner(a.in)
	ask := func(question string) string {
		fmt.Fprint(people, "\n"+question)
		in.Scan()
		return words.Clean(strings.TrimSpace(in.Text()))
	}
	for text := ask(words.LessonVerdict); text != ""; text = ask(words.LessonVerdict) {
		if answer, ok := words.Answered(text); ok {
			lesson.Answer, lesson.Right = string(answer), simrun.Right(car, string(answer))
			break
		}
	}
	lesson.Step = ask(words.LessonNext)
	fmt.Fprintf(a.errOut, "\nsession %s\n  pushback show %s --why   how each step was judged\n", s.Meta.ID, s.Meta.ID)
	return a.print(lesson, func() error { sheet.WriteTruth(a.out, lesson); return nil })
}
