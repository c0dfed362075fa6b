// Package manual writes a program's manual pages from its commands. The library for it brings parsers of Markdown and
// YAML, a megabyte of program.
package manual

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// Form is what all pages of a program share.
type Form struct {
	Root    *cobra.Command
	Made    time.Time
	Version string // name and version
	After   string // in man(7), what the first page says beyond the help
}

// Write writes the page of each command into a folder that is there. An error is of writing a file.
func Write(folder string, f Form) error { return f.write(f.Root, folder) }

func (f Form) write(cmd *cobra.Command, folder string) error {
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			if err := f.write(c, folder); err != nil {
				return err
			}
		}
	}
	file := filepath.Join(folder, pageName(cmd)+".1")
	if err := os.WriteFile(file, []byte(f.page(cmd)), 0o644); err != nil {
		return fmt.Errorf("writing a manual page: %w", err)
	}
	return nil
}

func pageName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// page is a command's page in the macros of man(7).
func (f Form) page(cmd *cobra.Command) string {
	cmd.InitDefaultHelpFlag()
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %q 1 %q %q %q\n.nh\n.SH NAME\n%s \\- %s\n", strings.ToUpper(pageName(cmd)), f.Made.Format("Jan 2006"), f.Version, f.Root.Name(),
		roff(pageName(cmd)), roff(cmd.Short))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n\\fB%s\\fR\n.SH DESCRIPTION\n", roff(cmd.UseLine()))
	text := cmd.Long
	if text == "" {
		text = cmd.Short + "."
	}
	for i, paragraph := range strings.Split(strings.TrimSpace(text), "\n\n") {
		if i > 0 {
			b.WriteString(".PP\n")
		}
		b.WriteString(roff(strings.TrimSpace(paragraph)) + "\n")
	}
	if cmd.Example != "" {
		fmt.Fprintf(&b, ".SH EXAMPLE\n.nf\n%s\n.fi\n", roff(cmd.Example))
	}
	writeOptions(&b, "OPTIONS", cmd.NonInheritedFlags())
	writeOptions(&b, "OPTIONS OF ALL COMMANDS", cmd.InheritedFlags())
	if !cmd.HasParent() {
		b.WriteString(f.After)
	}
	var also []string
	if cmd.HasParent() {
		also = append(also, pageName(cmd.Parent()))
	}
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			also = append(also, pageName(c))
		}
	}
	for i, name := range also {
		also[i] = `\fB` + roff(name) + `\fR(1)`
	}
	if len(also) > 0 {
		fmt.Fprintf(&b, ".SH SEE ALSO\n%s\n", strings.Join(also, ",\n"))
	}
	return b.String()
}

// writeOptions writes a section of flags, as their help has them.
func writeOptions(b *strings.Builder, title string, flags *pflag.FlagSet) {
	if !flags.HasAvailableFlags() {
		return
	}
	fmt.Fprintf(b, ".SH %s\n", title)
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, usage := pflag.UnquoteUsage(f)
		name := roff("--" + f.Name)
		if f.Shorthand != "" {
			name = roff("-"+f.Shorthand) + `\fR, \fB` + name
		}
		if value != "" {
			value = ` \fI` + roff(value)
		}
		if f.DefValue != "" && f.DefValue != "false" && f.DefValue != "0" && f.DefValue != "[]" && f.DefValue != "0s" {
			usage += " (default: " + f.DefValue + ")"
		}
		fmt.Fprintf(b, ".TP\n\\fB%s%s\\fR\n%s\n", name, value, roff(usage))
	})
}

// roff is a text whose characters mean nothing to man(7).
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}
