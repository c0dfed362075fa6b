// Command licences prints the licences of all that is linked into pushback, as those
// licences ask of who hands out a program. It fails where one is missing, is not
// recognised, or is none of those that go with the Apache licence of the program.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"github.com/google/licensecheck"
)

// allowed are the licences (SPDX names) whose only conditions are met by printing them.
var allowed = []string{"Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "MIT", "ISC", "Zlib"}

// known is the least share of a file's words, in percent, that must be a licence's.
const known = 75

// part is something by others: a module, Go itself, or a script carried along.
type part struct {
	name  string
	files []string // with licences and notices
}

func main() {
	list := flag.Bool("list", false, "print names only, not the texts")
	flag.Usage = func() { fmt.Fprintln(os.Stderr, "usage: licences [-list] [package …]") }
	flag.Parse()
	parts, err := linked(flag.Args())
	if err == nil {
		err = write(os.Stdout, parts, allowed, *list)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "licences:", err)
		os.Exit(1)
	}
}

// linked lists what the packages are made of on Linux and Windows. Without packages
// these are the program's own.
func linked(packages []string) ([]part, error) {
	own := len(packages) == 0
	if own {
		packages = []string{"pushback/cmd/pushback"}
	}
	const format = `{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}	{{.Dir}}{{end}}{{end}}`
	var modules []string
	for _, system := range []string{"linux", "windows"} {
		out, err := goTool(system, append([]string{"list", "-deps", "-f", format}, packages...)...)
		if err != nil {
			return nil, err
		}
		modules = append(modules, strings.Split(strings.TrimSpace(out), "\n")...)
	}
	slices.Sort(modules)
	root, err := goTool("", "env", "GOROOT", "GOVERSION")
	if err != nil {
		return nil, err
	}
	goRoot, version, _ := strings.Cut(strings.TrimSpace(root), "\n")
	modules = append([]string{"Go's standard library " + version + "\t" + goRoot}, slices.Compact(modules)...)

	var parts []part
	for _, m := range modules {
		name, dir, ok := strings.Cut(m, "\t")
		if !ok {
			continue
		}
		files, err := licenceFiles(dir)
		if err != nil {
			return nil, err
		}
		parts = append(parts, part{name, files})
	}
	if own {
		dir, err := goTool("", "list", "-f", "{{.Dir}}", "pushback/cmd/internal/page")
		if err != nil {
			return nil, err
		}
		parts = append(parts, part{"uPlot, on the live page", []string{filepath.Join(strings.TrimSpace(dir), "assets", "uplot.LICENSE")}})
	}
	return parts, nil
}

// goTool runs go, for a named operating system or, with "", for this one.
func goTool(system string, args ...string) (string, error) {
	cmd := exec.Command("go", args...)
	if system != "" {
		cmd.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=1")
	}
	out, err := cmd.Output()
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
		err = fmt.Errorf("go %s: %s", args[0], exit.Stderr)
	}
	return string(out), err
}

// licenceFiles are the files of a module's top folder that hold a licence or a notice.
func licenceFiles(dir string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var files []string
	for _, e := range entries {
		name := strings.ToUpper(e.Name())
		for _, word := range []string{"LICENSE", "LICENCE", "COPYING", "NOTICE"} {
			if strings.HasPrefix(name, word) && e.Type().IsRegular() {
				files = append(files, filepath.Join(dir, e.Name()))
				break
			}
		}
	}
	return files, nil
}

// write prints the parts. The error names every part whose licence is not allowed.
func write(w io.Writer, parts []part, allowed []string, namesOnly bool) error {
	var bad []error
	for _, p := range parts {
		ids, texts, err := read(p, allowed)
		if err != nil {
			bad = append(bad, err)
			continue
		}
		fmt.Fprintf(w, "%s: %s\n", p.name, strings.Join(ids, ", "))
		if !namesOnly {
			fmt.Fprintf(w, "\n%s\n%s\n", strings.Join(texts, "\n"), strings.Repeat("-", 78))
		}
	}
	return errors.Join(bad...)
}

// read returns a part's licences by SPDX name and the texts of its files.
func read(p part, allowed []string) (ids, texts []string, err error) {
	for _, f := range p.files {
		text, err := os.ReadFile(f)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", p.name, err)
		}
		texts = append(texts, strings.TrimSpace(string(text))+"\n")
		cover := licensecheck.Scan(text)
		if cover.Percent < known {
			continue // a notice, or a licence that is not known
		}
		for _, m := range cover.Match {
			if !slices.Contains(ids, m.ID) {
				ids = append(ids, m.ID)
			}
		}
	}
	if len(ids) == 0 {
		return nil, nil, fmt.Errorf("%s: no licence that is recognised", p.name)
	}
	for _, id := range ids {
		if !slices.Contains(allowed, id) {
			return nil, nil, fmt.Errorf("%s: licence %s is not one of %s", p.name, id, strings.Join(allowed, ", "))
		}
	}
	return ids, texts, nil
}
