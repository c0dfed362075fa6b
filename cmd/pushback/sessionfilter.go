package main

import (
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
