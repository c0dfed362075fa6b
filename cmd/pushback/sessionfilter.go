package main

import (
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/store"
)

// sessionFilter is the flags that choose sessions.
type sessionFilter struct {
	store.Filter
	since, until string
}

func (f *sessionFilter) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.Vehicle, "vehicle", "", "only with this `TEXT` in the vehicle's name")
	cmd.Flags().StringVar(&f.Label, "label", "", "only with this `TEXT` in the label")
	cmd.Flags().StringVar(&f.Conclusion, "conclusion", "", "only with this `CONCLUSION`, such as loop_proven")
	cmd.Flags().StringVar(&f.Origin, "origin", "", "only of this `ORIGIN`: live, import, simulated")
	cmd.Flags().StringVar(&f.since, "since", "", "only since this `DAY`, such as 2026-03-31")
	cmd.Flags().StringVar(&f.until, "until", "", "only until this `DAY`, itself included")
	cmd.Flags().IntVar(&f.Limit, "limit", 0, "at most `N`, the newest")
}

// given reports whether any of the flags was.
func (f *sessionFilter) given(cmd *cobra.Command) bool {
	for _, name := range []string{"vehicle", "label", "conclusion", "origin", "since", "until", "limit"} {
		if cmd.Flags().Changed(name) {
			return true
		}
	}
	return false
}

func (f *sessionFilter) filter(cmd *cobra.Command) (store.Filter, error) {
	out := f.Filter
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
// usage names one.
func (a *app) completeSessions(cmd *cobra.Command) {
	for _, sub := range cmd.Commands() {
		a.completeSessions(sub)
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
		// No setup was run, and a shell that completes must make no file.
		if a.db == "" {
			a.db, _ = store.DefaultPath()
		}
		if _, err := os.Stat(a.db); err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		db, err := store.Open(cmd.Context(), a.db)
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		defer db.Close()
		list, err := db.List(cmd.Context(), store.Filter{Limit: 50})
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		ids := []string{"last\tthe newest session"}
		for _, m := range list {
			ids = append(ids, m.ID+"\t"+day(m.Started)+" "+printable(described(m)))
		}
		return ids, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
	}
}
