package accuracy

import (
	"context"
	"fmt"
	"io"
	"slices"

	"pushback/cmd/internal/accuracy/fourth"
	"pushback/cmd/internal/accuracy/heldout"
	"pushback/cmd/internal/accuracy/third"
	"pushback/cmd/internal/accuracy/thirdwide"
	"pushback/cmd/internal/accuracy/unseenwide"
	"pushback/obd"
)

// A Model is a family of tests that are drawn by seed: a car, what is wrong with it, what
// the technician does, how it is read, and what may be said of it.
type Model struct {
	Name  string
	About string
	// Held out: its cars are drawn for a last figure only, so no single trial of it is shown.
	HeldOut bool
	From    uint64 // the seed to begin with where none is named
	N       int    // how many tests then
	Hours   int    // and hours of driving
	Tests   func(from uint64, n int, progress func(done int)) ([]Result, error)
	// Unforced drives hours that nobody forces; nil: the model has none.
	Unforced func(from uint64, hours int, progress func(done int)) ([]Result, error)
	// Draw and DrawDrive draw single ones of both, for a model of recordings.
	Draw, DrawDrive Recording
}

// recorded makes Tests and Unforced of Draw and DrawDrive.
func (m Model) recorded(tests, drives Recording) Model {
	m.Draw, m.DrawDrive, m.Tests, m.Unforced = tests, drives, recordings(tests), recordings(drives)
	return m
}

// Run makes n tests and hours of driving from the seed from on, and says which seeds those
// were. What is negative is the model's own.
func (m Model) Run(n int, from int64, hours int, progress func(of int) func(done int)) (results []Result, seeds string, err error) {
	first := m.From
	if from >= 0 {
		first = uint64(from)
	}
	if n < 0 {
		n = m.N
	}
	if hours < 0 {
		hours = m.Hours
	}
	if n > 0 {
		if results, err = m.Tests(first, n, progress(n)); err != nil {
			return nil, "", err
		}
		seeds = fmt.Sprintf("%d to %d", first, first+uint64(n)-1)
	}
	if m.Unforced != nil && hours > 0 {
		driven, err := m.Unforced(first, hours, progress(hours))
		if err != nil {
			return nil, "", err
		}
		results = append(results, driven...)
	}
	return results, seeds, nil
}

// Models are all models, in the order of the table. A new one is one line here.
var Models = []Model{
	{Name: "wire", About: "obd/simcar over the whole live path, by wire", N: 4000, Hours: 100,
		Tests: trials(Many), Unforced: trials(Unforced)},
	{Name: "mixture", About: "obd/simcar, by mixture, every other one with marks", N: 800, Hours: 40,
		Tests: trials(Mixed), Unforced: trials(UnforcedMixed)},
	{Name: "wide", About: "obd/simcar with wide-range sensors, by mixture, fuel cut and the rear wire", N: 1000, Hours: 20,
		Tests: trials(ManyWide), Unforced: trials(UnforcedWide)},
	{Name: "hands", About: "guided tests of obd/simcar by hands of all kinds, every other car sound", N: 1000, Tests: Guided},
	{Name: "twowires", About: "the same where both banks' wires are held", N: 300, Tests: TwoWires},
	{Name: "foreign", About: "cars in Python written by others, by wire", From: 1, N: 1200, Tests: Foreign},
	Model{Name: "third", About: "narrow sensors by wire, and drives, written apart, for tuning", N: 1000, Hours: 40}.recorded(third.Narrow, third.Unforced),
	Model{Name: "thirdwide", About: "the same of wide-range sensors, by mixture, fuel cut and the rear wire", N: 600, Hours: 20}.recorded(thirdwide.Wide, thirdwide.Unforced),
	Model{Name: "fourth", About: "narrow sensors by wire, and drives, by another hand, held out at first", N: 1000, Hours: 40}.recorded(fourth.Narrow, fourth.Drive),
	Model{Name: "fourthwide", About: "the same of wide-range sensors, by mixture and fuel cut", N: 600, Hours: 20}.recorded(fourth.Wide, fourth.WideDrive),
	Model{Name: "heldout", About: "narrow sensors by wire, and drives, by yet another hand, for the last figure only", HeldOut: true, From: 1000, N: 1000, Hours: 100}.recorded(heldout.Narrow, heldout.Drive),
	Model{Name: "fifthwide", About: "wide-range sensors by mixture and fuel cut, and drives, by that hand, held out up to seed 8599, now for tuning", From: 150000, N: 600, Hours: 40}.recorded(heldout.Wide, heldout.WideDrive),
	Model{Name: "heldoutwide", About: "the same by a hand after that, for the last figure only", HeldOut: true, From: 1000, N: 600, Hours: 40}.recorded(unseenwide.Wide, unseenwide.Drive),
}

// ModelNames are the names of all models.
func ModelNames() []string {
	var names []string
	for _, m := range Models {
		names = append(names, m.Name)
	}
	return names
}

// trials makes results of what obd/simcar's trials come to.
func trials(many func(uint64, int, func(int)) []Trial) func(uint64, int, func(int)) ([]Result, error) {
	return func(from uint64, n int, progress func(int)) ([]Result, error) {
		var list []Result
		for _, t := range many(from, n, progress) {
			list = append(list, ofTrial(t))
		}
		return list, nil
	}
}

// recordings makes the tests of a model that yields records and judges them.
func recordings(draw Recording) func(uint64, int, func(int)) ([]Result, error) {
	return func(from uint64, n int, progress func(int)) ([]Result, error) {
		return each(n, progress, func(i int) Result {
			t, list := draw(from + uint64(i))
			return Judge(t, &records{list: list})
		}), nil
	}
}

func inOrder(lists [][]Result) []Result {
	all := slices.Concat(lists...)
	slices.SortFunc(all, func(a, b Result) int { return int(a.Seed) - int(b.Seed) })
	return all
}

// records is a session's source from memory.
type records struct{ list []obd.Record }

// Next returns the next record, and io.EOF after the last.
func (r *records) Next(context.Context) (obd.Record, error) {
	if len(r.list) == 0 {
		return obd.Record{}, io.EOF
	}
	rec := r.list[0]
	r.list = r.list[1:]
	return rec, nil
}
