package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// manAfter is what the first manual page says beyond the help.
const manAfter = `.SH EXIT STATUS
.TP
0
done; the loop is proven, or nothing was forced
.TP
1
the tool could not do its work; the error says why and what to do
.TP
2
wrong usage
.TP
10
a fault was found
.TP
11
the evidence does not decide, or one side only was tested
.TP
12
the car is not ready for the test
.SH FILES
pushback/pushback.db under $XDG_DATA_HOME or ~/.local/share: the sessions.
.SH EXAMPLES
.nf
pushback demo                           # the whole test, without a car
pushback ports                          # which ports answer as an adapter
pushback test \-\-port /dev/ttyUSB0       # the guided test
pushback show last                      # the verdict and its evidence
.fi
`

func newMan() *cobra.Command {
	return &cobra.Command{
		Use:   "man FOLDER",
		Short: "Write the manual pages",
		Long: `Writes one manual page for each command into the folder, which is made if it is
not there. The date is SOURCE_DATE_EPOCH's where that is set.`,
		Args: named("FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("making the folder: %w", err)
			}
			made := time.Now()
			if s := os.Getenv("SOURCE_DATE_EPOCH"); s != "" {
				epoch, err := strconv.ParseInt(s, 10, 64)
				if err != nil {
					return fmt.Errorf("SOURCE_DATE_EPOCH: %w", err)
				}
				made = time.Unix(epoch, 0)
			}
			return writeManuals(cmd.Root(), args[0], made.UTC())
		},
	}
}

// writeManuals writes the page of a command and those of the commands below it. The program writes them itself, since
// the library for it brings parsers of Markdown and YAML, a megabyte.
func writeManuals(cmd *cobra.Command, folder string, made time.Time) error {
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			if err := writeManuals(c, folder, made); err != nil {
				return err
			}
		}
	}
	file := filepath.Join(folder, manName(cmd)+".1")
	if err := os.WriteFile(file, []byte(manual(cmd, made)), 0o644); err != nil {
		return fmt.Errorf("writing a manual page: %w", err)
	}
	return nil
}

func manName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// manual is a command's page in the macros of man(7).
func manual(cmd *cobra.Command, made time.Time) string {
	cmd.InitDefaultHelpFlag()
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %q 1 %q %q %q\n.nh\n.SH NAME\n%s \\- %s\n", strings.ToUpper(manName(cmd)), made.Format("Jan 2006"), "pushback "+versionText(), "pushback",
		roff(manName(cmd)), roff(cmd.Short))
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
		b.WriteString(manAfter)
	}
	var also []string
	if cmd.HasParent() {
		also = append(also, manName(cmd.Parent()))
	}
	for _, c := range cmd.Commands() {
		if c.IsAvailableCommand() {
			also = append(also, manName(c))
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
