package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// namers may ask which dialect a car speaks, to name it.
var namers = map[string]string{
	"cmd/internal/words/bus.go": "its name beside the bus",
	"cmd/bench/speed.go":        "a row of the measurements",
}

// TestNobodyAboveKnowsTheDialect: what is above obd and decode passes the dialect on as a name: nothing compares it, switches on it
// or names one of its values.
func TestNobodyAboveKnowsTheDialect(t *testing.T) {
	files := 0
	for _, room := range []string{"analysis", "store", "cmd"} {
		err := filepath.WalkDir(filepath.Join("..", "..", room), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			name := filepath.ToSlash(strings.TrimPrefix(filepath.ToSlash(path), "../../"))
			files++
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
			if err != nil {
				return err
			}
			found := ""
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.SelectorExpr:
					if n.Sel.Name == "J1979v2" || n.Sel.Name == "J1979" || n.Sel.Name == "MostPIDs" || n.Sel.Name == "IDBytes" {
						found = n.Sel.Name
					}
				case *ast.BinaryExpr:
					if dialectOf(n.X) || dialectOf(n.Y) {
						found = "a comparison"
					}
				case *ast.SwitchStmt:
					if n.Tag != nil && dialectOf(n.Tag) {
						found = "a switch"
					}
				}
				return true
			})
			if (found != "") != (namers[name] != "") {
				t.Errorf("%s: %q; allowed for %q", name, found, namers[name])
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if files < 100 {
		t.Errorf("only %d files", files)
	}
}

// dialectOf tells an expression that is somebody's dialect, or its name.
func dialectOf(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.SelectorExpr:
		return e.Sel.Name == "Dialect"
	case *ast.Ident:
		return e.Name == "dialect"
	case *ast.CallExpr:
		return dialectOf(e.Fun)
	}
	return false
}
