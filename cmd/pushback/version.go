package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set by the build (-ldflags "-X main.version=…").
var version string

func versionText() string {
	if version != "" {
		return version
	}
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" && b.Main.Version != "(devel)" {
		return b.Main.Version
	}
	return "devel"
}

func newVersion(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version",
		Args:  named(),
		RunE: func(*cobra.Command, []string) error {
			if a.json {
				return json.NewEncoder(a.out).Encode(map[string]string{"version": versionText(), "go": runtime.Version()})
			}
			_, err := fmt.Fprintln(a.out, "pushback", versionText(), runtime.Version(), runtime.GOOS+"/"+runtime.GOARCH)
			return err
		},
	}
}
