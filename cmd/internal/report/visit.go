package report

import (
	"slices"
	"strings"
	"unicode"

	"pushback/analysis"
	"pushback/analysis/agenda"
	"pushback/analysis/dossier"
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

// openWork words what is open after sessions, and what the meter readings among the entries ask for.
func openWork(done []store.VisitEntry, dossiers []*dossier.Dossier) (out []string) {
	var seen []agenda.Session
	for _, d := range dossiers {
		seen = append(seen, d.Agenda())
	}
	for _, item := range agenda.Open(seen) {
		out = append(out, words.OpenWork(item).String())
	}
	var entries []string
	for _, e := range done {
		entries = append(entries, e.Text)
	}
	for _, step := range words.MeterSteps(entries) {
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
