// Command accuracy measures how often the watcher is right: on random simulated cars
// through the whole path of a live session, and on recordings of cars that were written
// apart from it. It prints a row a model.
package main

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/cmd/internal/accuracy"
	"pushback/cmd/internal/words/why"
	"pushback/obd/simcar/hands"
)

func main() {
	model := flag.String("model", "", "only these models, with commas: "+strings.Join(accuracy.ModelNames(), ", ")+" (default: all that are not held out)")
	n := flag.Int("n", -1, "how many tests of each model (default: the model's own)")
	from := flag.Int64("from", -1, "first seed (default: the model's own)")
	hours := flag.Int("hours", -1, "hours of driving that nobody forces, of each model that drives (default: the model's own)")
	real := flag.String("realtrims", "", "a `FILE` of real drives without a force to count too; testdata/realtrims/README.md says which")
	wrongs := flag.Bool("wrongs", false, "list the tests that were not right, of models that are not held out")
	tables := flag.Bool("tables", false, "of the simulated car, all tables (by proof, by rate, what was said of what) instead")
	show := flag.Int64("show", -1, "show the events and proofs of this seed of the simulated car instead, with -model wide of a wide-range sensor, with -model hands or twowires of its guided test, with a model of recordings of that (-hours 1: the drive of that seed)")
	byMixture := flag.Bool("bymixture", false, "with -show: the trial in which the mixture is forced")
	car := flag.String("car", "", "show the guided test of this `CAR` of 'pushback demo --car list' instead")
	style := flag.String("hands", hands.Styles[0].Name, "with -car: whose `HANDS` work on it")
	reliability := flag.Bool("reliability", false, "print too how many of the stretches to which a probability of a force was given were one")
	causes := flag.Bool("causes", false, "print too why forces were not seen, or told that were none, and tests left undecided, of models of recordings: counts of all, also of models that are held out")
	flag.Parse()

	if *car != "" {
		t, err := accuracy.RunNamed(*car, *style, uint64(max(*show, 1)))
		if err != nil {
			fmt.Fprintln(os.Stderr, "accuracy:", err)
			os.Exit(2)
		}
		showGuided(t)
		return
	}
	if run, guided := map[string]func(uint64) accuracy.GuidedTrial{"hands": accuracy.RunGuided, "twowires": accuracy.RunTwoWires}[*model]; guided && *show >= 0 {
		showGuided(run(uint64(*show)))
		return
	}
	if i := slices.IndexFunc(accuracy.Models, func(m accuracy.Model) bool { return m.Name == *model && (m.HeldOut || m.Draw != nil) }); *show >= 0 && i >= 0 {
		if err := accuracy.Models[i].Show(os.Stdout, uint64(*show), *hours > 0); err != nil {
			fmt.Fprintln(os.Stderr, "accuracy:", err)
			os.Exit(2)
		}
		return
	}
	if *show >= 0 {
		showTrial(uint64(*show), *model, *byMixture)
		return
	}
	if *tables {
		printTables(*model, *n, *from)
		return
	}
	if err := run(*model, *n, *from, *hours, *real, *wrongs, *reliability, *causes); err != nil {
		fmt.Fprintln(os.Stderr, "accuracy:", err)
		os.Exit(1)
	}
}

func run(model string, n int, from int64, hours int, real string, wrongs, reliability, causes bool) error {
	var chosen []string
	if model != "" {
		chosen = strings.Split(model, ",")
	}
	for _, c := range chosen {
		if !slices.Contains(accuracy.ModelNames(), c) {
			return fmt.Errorf("no model %q; there are %s", c, strings.Join(accuracy.ModelNames(), ", "))
		}
	}
	table := accuracy.NewTable(os.Stdout)
	var all []accuracy.Result
	rings := map[string][]accuracy.Result{}
	for _, m := range accuracy.Models {
		if chosen == nil && m.HeldOut || chosen != nil && !slices.Contains(chosen, m.Name) {
			continue
		}
		results, seeds, err := m.Run(n, from, hours, progress(m.Name))
		if err != nil {
			return fmt.Errorf("%s: %w", m.Name, err)
		}
		table.Row(m.Name, seeds, results)
		rings[m.Name] = results
		if !m.HeldOut {
			all = append(all, results...)
		}
	}
	if real != "" {
		results, err := accuracy.RealDrives(real)
		if err != nil {
			return err
		}
		table.Row("real drives", "", results)
		all = append(all, results...)
	}
	fmt.Fprint(os.Stderr, "\r\033[K")
	if err := table.Close(); err != nil {
		return err
	}
	for _, m := range accuracy.Models {
		accuracy.PrintRings(os.Stdout, m.Name, rings[m.Name])
		if reliability {
			accuracy.PrintReliability(os.Stdout, m.Name, rings[m.Name])
		}
	}
	for _, m := range accuracy.Models {
		if causes {
			accuracy.PrintCauses(os.Stdout, m.Name, rings[m.Name])
		}
	}
	if wrongs {
		accuracy.PrintWrongs(os.Stdout, all)
	}
	return nil
}

// printTables prints all that is counted of the simulated car.
func printTables(model string, n int, from int64) {
	seeds := uint64(max(from, 0))
	for _, m := range []struct {
		name, title string
		n           int
		run         func(uint64, int, func(int)) []accuracy.Trial
	}{
		{"wire", "By wire, half of them with marks:", 4000, accuracy.Many},
		{"mixture", "By mixture, all with marks:", 800, accuracy.Mixed},
	} {
		if model != "" && model != m.name {
			continue
		}
		if n >= 0 {
			m.n = n
		}
		trials := m.run(seeds, m.n, progress(m.name)(m.n))
		fmt.Fprint(os.Stderr, "\r\033[K")
		fmt.Println(m.title)
		accuracy.Print(os.Stdout, trials)
		fmt.Println()
	}
}

// progress shows how far a model's tests have come.
func progress(name string) func(of int) func(done int) {
	return func(of int) func(int) {
		return func(done int) {
			if done%20 == 0 || done == of {
				fmt.Fprintf(os.Stderr, "\r\033[K%s: %d of %d ", name, done, of)
			}
		}
	}
}
func showTrial(seed uint64, model string, byMixture bool) {
	var t accuracy.Trial
	switch {
	case model == "wide":
		t = accuracy.Wide(seed)
	case byMixture:
		t = accuracy.ByMixture(seed)
	default:
		t = accuracy.ByWire(seed)
	}
	fmt.Printf("%s, %s, %.1f readings/s, marks: %v, error: %v\n", t.Expected.Fault, t.Bus, t.Rate, t.Marked, t.Err)
	if t.Wide != nil {
		fmt.Printf("truth: %+v\n", *t.Wide)
	}
	for _, f := range t.Truth {
		fmt.Printf("truth: %s %.2f to %.2f s, answer at %.2f s, %.0f ohm, shaky: %v\n", f.Kind, f.Begin.Seconds(), f.End.Seconds(), f.Answer.Seconds(), f.Ohms, f.Shaky)
	}
	for _, e := range t.Events {
		j, _ := json.Marshal(why.Event(e))
		fmt.Println(string(j))
	}
	fmt.Printf("%s, to be %s (or %v)\n", t.Verdict.Conclusion, t.Expected.Conclusion, t.Expected.Also)
	for _, p := range t.Verdict.Proofs {
		fmt.Printf("%-12s %-9s %s\n", p.ID, p.State, why.Text(p.Why))
	}
	fmt.Println(strings.Join(why.Texts(t.Reasons), "\n"))
}

// showGuided prints a guided test in order of time: what was done, asked, said and seen.
func showGuided(t accuracy.GuidedTrial) {
	fmt.Printf("%s, %.1f readings/s, proper: %v, error: %v\n", t.Case, t.Rate, t.Proper, t.Err)
	type line struct {
		at   float64
		text string
	}
	var lines []line
	add := func(at float64, format string, v ...any) {
		lines = append(lines, line{at, fmt.Sprintf(format, v...)})
	}
	for _, f := range t.Truth {
		add(f.Begin.Seconds(), "      %s until %.1f s", f.Kind, f.End.Seconds())
	}
	for _, p := range t.Prompts {
		add(p.At.Seconds(), "%s %s %s", strings.ToUpper(p.Step(analysis.ByWire)), p.Reason, strings.Join(why.Texts(p.Why), "; "))
	}
	for _, m := range t.Marks {
		add(m.At.Seconds(), "      said: %s", m.Mark.Kind)
	}
	for _, e := range t.Events {
		j, _ := json.Marshal(why.Event(e))
		add(e.T, "            %s", j)
	}
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(a.at, b.at) })
	for _, l := range lines {
		fmt.Printf("%7.2f %s\n", l.at, l.text)
	}
	fmt.Printf("%s; with nothing said: %s, %s; decides: %s\n", t.Said, t.Silent.Conclusion, t.Untold, t.Verdict.Decide)
	for _, v := range t.Verdict.Banks() {
		for _, p := range v.Proofs {
			fmt.Printf("%-12s %-9s %s\n", p.ID, p.State, why.Text(p.Why))
		}
	}
	fmt.Println(strings.Join(why.Texts(t.Reasons), "\n"))
}
