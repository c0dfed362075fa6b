package why

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// labels are the texts of more than one word that inner rooms may have, by file, and why: names of things, that other
// programs read too, and figures. Nothing of them is a reason or a step.
var labels = map[string]string{
	"analysis/hazard/hazard.go":       "a caution is one with its hazard, so that no text of a step is without it",
	"analysis/limits/limits.go":       "a limit as sentences say it stands beside it",
	"analysis/bias/circuit.go":        "names of a sensor's states and of faults, in the tables and the JSON of source",
	"analysis/bias/drawing.go":        "a drawing",
	"analysis/bias/series.go":         "a resistance with its unit",
	"analysis/bias/source.go":         "a supply's name",
	"analysis/agenda/agenda.go":       "the entry that a visit keeps of the sensors that the car told",
	"analysis/meter/meter.go":         "what is measured, the source of what is usual, and the entry that a visit keeps",
	"analysis/switching/parts.go":     "names of figures, in JSON too",
	"analysis/switching/switching.go": "names of figures and bands with the source of what is usual, in JSON too",
	"analysis/trimmap/collector.go":   "units of an air flow",
	"analysis/dossier/compare.go":     "names of what became of a test, in JSON too",
	"analysis/dossier/checks.go":      "monitors by decode's names",
	"analysis/dossier/owntest.go":     "a test's number in hexadecimal",
	"analysis/session/judge.go":       "names of a gap's cause, as the event gap tells them",
	"analysis/event.go":               "the name of a gap's cause, that other programs read",
	"decode/area.go":                  "names of what a code is about",
	"decode/readiness.go":             "the standard's names of monitors",
	"decode/table.go":                 "the standard's names of signals, and sources",
}

// No sentence that people read lives in analysis or decode: what is said there is a reason. Texts of errors are let be, for
// they say where something failed.
func TestNoSentencesWithin(t *testing.T) {
	const root = "../../../../"
	used := map[string]bool{}
	for _, room := range []string{"analysis", "decode"} {
		err := filepath.WalkDir(root+room, func(path string, d fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case d.IsDir() && (d.Name() == "testdata" || strings.HasSuffix(d.Name(), "test") || d.Name() == "dissector"):
				return filepath.SkipDir // for tests
			case !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go"):
				return nil
			}
			name := filepath.ToSlash(strings.TrimPrefix(path, filepath.FromSlash(root)))
			texts, err := proseIn(path)
			if _, named := labels[name]; named {
				used[name] = len(texts) > 0
			} else if len(texts) > 0 {
				t.Errorf("%s says %q: make it a code of analysis/reason with its sentence here, or a label with a reason in this test", name, texts)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for name := range labels {
		if !used[name] {
			t.Errorf("%s needs no exception any more", name)
		}
	}
}

// proseIn are the texts of more than one word in a file, those of errors and panics left out.
func proseIn(path string) (out []string, err error) {
	f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	if err != nil {
		return nil, err
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			return !fails(n.Fun)
		case *ast.ImportSpec:
			return false
		case *ast.BasicLit:
			s, err := strconv.Unquote(n.Value)
			if n.Kind == token.STRING && err == nil && strings.Contains(strings.TrimSpace(s), " ") {
				out = append(out, s)
			}
		}
		return true
	})
	return out, nil
}

// fails reports whether what is called makes an error of its text.
func fails(call ast.Expr) bool {
	switch f := call.(type) {
	case *ast.Ident:
		return f.Name == "panic"
	case *ast.SelectorExpr:
		x, is := f.X.(*ast.Ident)
		return is && (x.Name == "errors" || x.Name == "fmt" && f.Sel.Name == "Errorf")
	}
	return false
}
