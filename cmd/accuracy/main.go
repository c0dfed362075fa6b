// Command accuracy measures how often the watcher is right, on random simulated
// cars through the whole path of a live session, and prints the tables.
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"

	"pushback/cmd/internal/accuracy"
	"pushback/obd/simcar"
)

func main() {
	n := flag.Int("n", 4000, "how many simulated tests")
	from := flag.Uint64("from", 0, "first seed")
	mixed := flag.Int("mixed", 800, "how many with the mixture forced in place of the wire")
	hours := flag.Int("hours", 100, "hours of driving that nobody forces")
	show := flag.Int64("show", -1, "show this seed's events and proofs instead")
	byMixture := flag.Bool("bymixture", false, "with -show: the trial in which the mixture is forced")
	flag.Parse()

	if *show >= 0 {
		showTrial(uint64(*show), *byMixture)
		return
	}
	progress := func(of int) func(int) {
		return func(done int) {
			if done%50 == 0 || done == of {
				fmt.Fprintf(os.Stderr, "\r%d of %d ", done, of)
			}
		}
	}
	if *n > 0 {
		trials := accuracy.Many(*from, *n, progress(*n))
		fmt.Fprint(os.Stderr, "\r")
		fmt.Println("By wire, half of them with marks:")
		accuracy.Print(os.Stdout, trials)
	}
	if *mixed > 0 {
		trials := accuracy.Mixed(*from, *mixed, progress(*mixed))
		fmt.Fprint(os.Stderr, "\r")
		fmt.Println("\nBy mixture, all with marks:")
		accuracy.Print(os.Stdout, trials)
	}
	if *hours > 0 {
		trials := accuracy.Unforced(*from, *hours, progress(*hours))
		fmt.Fprint(os.Stderr, "\r")
		accuracy.PrintUnforced(os.Stdout, trials)
	}
}

func showTrial(seed uint64, byMixture bool) {
	_, exp := simcar.Random(seed)
	t := accuracy.ByWire(seed)
	if byMixture {
		t = accuracy.ByMixture(seed)
	}
	fmt.Printf("%s, %s, %.1f readings/s, marks: %v, error: %v\n", t.Expected.Fault, t.Bus, t.Rate, t.Marked, t.Err)
	for _, f := range t.Truth {
		fmt.Printf("truth: %s %.2f to %.2f s, answer at %.2f s, %.0f ohm, shaky: %v\n", f.Kind, f.Begin.Seconds(), f.End.Seconds(), f.Answer.Seconds(), f.Ohms, f.Shaky)
	}
	for _, e := range t.Events {
		j, _ := json.Marshal(e)
		fmt.Println(string(j))
	}
	fmt.Printf("%s, to be %s (or %v)\n", t.Verdict.Conclusion, exp.Conclusion, exp.Also)
	for _, p := range t.Verdict.Proofs {
		fmt.Printf("%-12s %-9s %s\n", p.ID, p.State, p.Why)
	}
}
