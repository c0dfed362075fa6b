package report

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"pushback/analysis"
	"pushback/analysis/agenda"
	"pushback/analysis/dossier"
	"pushback/analysis/meter"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// sidesOf chooses the sessions before and after the repair, of those in order of time: the last
// that were paired, else the first and the last that tested a sensor as the last test did. The
// same twice: there is nothing to compare.
func sidesOf(all []*Subject) (before, after int) {
	for i := range all {
		for j := range all[:i] {
			if all[i].Session.Before == all[j].Session.ID {
				before, after = j, i
			}
		}
	}
	if before != after {
		return before, after
	}
	forced := func(s *Subject) bool { return s.Verdict.Conclusion != analysis.NothingForced }
	for i, s := range all {
		if forced(s) {
			after = i
		}
	}
	last := all[after]
	before = slices.IndexFunc(all, func(s *Subject) bool {
		return s.Session.Watching == last.Session.Watching && s.Session.By == last.Session.By && forced(s) == forced(last)
	})
	return before, after
}

// Pairing is one sensor's tests before and after the repair; one that was tested on one side of it only has After and no Compare.
type Pairing struct {
	Before, After *Subject
	Compare       *Comparison
}

// Outcome says to the owner what the sensor's tests came to.
func (p Pairing) Outcome() string {
	after := words.ConclusionShort(string(p.After.Verdict.Conclusion))
	if p.Compare == nil {
		return after
	}
	return fmt.Sprintf("before: %s; after: %s", words.ConclusionShort(string(p.Before.Verdict.Conclusion)), after)
}

// pairOthers pairs the tests of each sensor but that of the sides which are compared first. A pair must have the repair between it: the last
// note between those sides, else any time between them.
func pairOthers(all []*Subject, dossiers []*dossier.Dossier, done []store.VisitEntry, before, after int) (out []Pairing) {
	from, to := all[before].Session.Started, all[after].Session.Started
	for _, e := range done {
		if _, is := meter.Read(e.Text); !is && e.At.After(from) && e.At.Before(to) {
			from, to = e.At, e.At
		}
	}
	known := []string{all[after].Session.Watching}
	for _, s := range all {
		if slices.Contains(known, s.Session.Watching) {
			continue
		}
		known = append(known, s.Session.Watching)
		var own []*Subject
		var at []int
		for i, x := range all {
			if x.Session.Watching == s.Session.Watching {
				own, at = append(own, x), append(at, i)
			}
		}
		b, a := sidesOf(own)
		if own[a].Verdict.Conclusion == analysis.NothingForced {
			continue // a drive
		}
		p := Pairing{Before: own[b], After: own[a]}
		if before != after && b != a && !own[b].Session.Started.After(to) && !own[a].Session.Started.Before(from) {
			p.Compare = NewComparison(dossier.Compare(dossiers[at[b]:at[b]+1], dossiers[at[a]:at[a]+1]))
			p.Before.Title, p.After.Title = "Before, "+s.Session.Watching, "After, "+s.Session.Watching
		}
		out = append(out, p)
	}
	return out
}

// openWork words what is open after sessions, and what the meter readings among the entries ask for.
func openWork(v *store.Visit, all []*Subject, dossiers []*dossier.Dossier) (out []string) {
	var seen []agenda.Session
	for i, d := range dossiers {
		seen = append(seen, d.Agenda(all[i].Session.Sensors)...)
	}
	for _, item := range agenda.Open(seen, agenda.Has(v.Texts())) {
		out = append(out, words.OpenWork(item).String())
	}
	for _, step := range words.MeterSteps(v.Texts()) {
		out = append(out, step.String())
	}
	return out
}

// fileName keeps of a visit's name what any system lets a file be called by.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, name)
}
