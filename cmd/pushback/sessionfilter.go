package main

import (
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// sessionFilter is the flags that choose sessions.
type sessionFilter struct {
	store.Filter
	since, until string
}

func (f *sessionFilter) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.Vehicle, "vehicle", "", "only with this `TEXT` in the vehicle's name")
	cmd.Flags().StringVar(&f.Visit, "visit", "", "only of the visit of this `NAME`")
	cmd.Flags().StringVar(&f.Label, "label", "", "only with this `TEXT` in the label")
	cmd.Flags().StringVar(&f.Conclusion, "conclusion", "", "only with this `CONCLUSION`, such as loop_proven")
	cmd.Flags().StringVar(&f.Origin, "origin", "", "only of this `ORIGIN`: live, import, simulated")
	cmd.Flags().StringVar(&f.since, "since", "", "only since this `DAY`, such as 2026-03-31")
	cmd.Flags().StringVar(&f.until, "until", "", "only until this `DAY`, itself included")
	cmd.Flags().IntVar(&f.Limit, "limit", 0, "at most `N`, the newest")
}

// given reports whether any of the flags was.
func (f *sessionFilter) given(cmd *cobra.Command) bool {
	for _, name := range []string{"vehicle", "label", "visit", "conclusion", "origin", "since", "until", "limit"} {
		if cmd.Flags().Changed(name) {
			return true
		}
	}
	return false
}

func (f *sessionFilter) filter(cmd *cobra.Command) (store.Filter, error) {
	out := f.Filter
	if f.Limit < 0 {
		return out, usagef(cmd, "--limit %d is less than no session", f.Limit)
	}
	for _, d := range []struct {
		flag, day string
		to        *time.Time
		after     int // days
	}{{"since", f.since, &out.Since, 0}, {"until", f.until, &out.Before, 1}} {
		if d.day == "" {
			continue
		}
		t, err := time.ParseInLocation(time.DateOnly, d.day, time.Local)
		if err != nil {
			return out, usagef(cmd, "--%s %q is not a day such as 2026-03-31", d.flag, d.day)
		}
		*d.to = t.AddDate(0, 0, d.after)
	}
	return out, nil
}

// completeSessions lets the shell complete the ids of sessions, wherever a command's
// usage names one, and what the filters may be given.
func (a *app) completeSessions(cmd *cobra.Command) {
	for _, sub := range cmd.Commands() {
		a.completeSessions(sub)
	}
	if cmd.Flags().Lookup("conclusion") != nil {
		a.completeFilters(cmd)
	}
	wanted := 0
	for _, word := range strings.Fields(cmd.Use) {
		if w := strings.Trim(word, "[]"); w == "SESSION" || w == "BEFORE" || w == "AFTER" {
			wanted++
		}
	}
	if wanted == 0 || cmd.ValidArgsFunction != nil {
		return
	}
	cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) >= wanted {
			return nil, cobra.ShellCompDirectiveDefault
		}
		list := a.known(cmd, 50)
		if len(list) == 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		ids := []string{"last\tthe newest session"}
		for _, m := range list {
			ids = append(ids, m.ID+"\t"+sheet.Day(m.Started)+" "+words.Printable(sheet.Described(m)))
		}
		return ids, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	}
}

// completeFilters completes the flags that choose sessions by what there is to choose.
func (a *app) completeFilters(cmd *cobra.Command) {
	for flag, of := range map[string]func(store.Meta) string{
		"vehicle":    func(m store.Meta) string { return words.Printable(m.Vehicle) },
		"label":      func(m store.Meta) string { return words.Printable(m.Label) },
		"conclusion": func(m store.Meta) string { return m.Conclusion },
		"origin":     func(m store.Meta) string { return m.Origin },
	} {
		// The only error is a flag that is not there.
		_ = cmd.RegisterFlagCompletionFunc(flag, func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
			var words []string
			for _, m := range a.known(cmd, 1000) {
				if w := of(m); w != "" && !slices.Contains(words, w) {
					words = append(words, w)
				}
			}
			return words, cobra.ShellCompDirectiveNoFileComp
		})
	}
}

// known lists the newest sessions for the shell, none where they cannot be had: no setup
// was run, and a shell that completes must make no file.
func (a *app) known(cmd *cobra.Command, limit int) []store.Meta {
	if a.db == "" {
		a.db, _ = store.DefaultPath()
	}
	if _, err := os.Stat(a.db); err != nil {
		return nil
	}
	db, err := store.OpenToRead(cmd.Context(), a.db)
	if err != nil {
		return nil
	}
	defer db.Close()
	list, err := db.List(cmd.Context(), store.Filter{Limit: limit})
	if err != nil {
		return nil
	}
	return list
}
