// Package completion lets a shell complete what only the database knows.
package completion

import (
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"pushback/cmd/internal/sheet"
	"pushback/cmd/internal/words"
	"pushback/store"
)

// Sessions lets the shell complete the ids of sessions, wherever a command's usage names one, and what the
// filters may be given, for a command and those under it. db is where the database's path is once flags are
// read; "" is the usual one.
func Sessions(cmd *cobra.Command, db *string) {
	for _, sub := range cmd.Commands() {
		Sessions(sub, db)
	}
	if cmd.Flags().Lookup("conclusion") != nil {
		filters(cmd, db)
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
		list := known(cmd, *db, 50)
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

// filters completes the flags that choose sessions by what there is to choose.
func filters(cmd *cobra.Command, db *string) {
	for flag, of := range map[string]func(store.Meta) string{
		"vehicle":    func(m store.Meta) string { return words.Printable(m.Vehicle) },
		"label":      func(m store.Meta) string { return words.Printable(m.Label) },
		"conclusion": func(m store.Meta) string { return m.Conclusion },
		"origin":     func(m store.Meta) string { return m.Origin },
	} {
		// The only error is a flag that is not there.
		_ = cmd.RegisterFlagCompletionFunc(flag, func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
			var words []string
			for _, m := range known(cmd, *db, 1000) {
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
func known(cmd *cobra.Command, path string, limit int) []store.Meta {
	if path == "" {
		path, _ = store.DefaultPath()
	}
	if _, err := os.Stat(path); err != nil {
		return nil
	}
	db, err := store.OpenToRead(cmd.Context(), path)
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
