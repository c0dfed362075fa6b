package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What is larger says why in its comment, in a sentence that begins with "Long because" or
// "Wide because".
const (
	mostLines  = 80  // of a function
	mostFile   = 500 // lines of a file of code
	mostFields = 20  // of a struct, embedded ones as one each: they have a name of their own
)

func TestNothingGrowsUnnoticed(t *testing.T) {
	root, seen := filepath.Join("..", ".."), 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		seen++
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		for _, what := range tooLarge(files, file) {
			t.Error(what)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 200 {
		t.Errorf("only %d files of code were looked at", seen)
	}
}

// tooLarge names what of a file is larger than it may be and says no reason.
func tooLarge(files *token.FileSet, file *ast.File) (out []string) {
	lines := func(n ast.Node) int { return files.Position(n.End()).Line - files.Position(n.Pos()).Line + 1 }
	at := func(n ast.Node) string { return files.Position(n.Pos()).String() }
	if n := files.File(file.Pos()).LineCount(); n > mostFile {
		out = append(out, at(file)+": a file of more than 500 lines: divide it")
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.FuncDecl:
			if lines(n) > mostLines && !strings.Contains(n.Doc.Text(), "Long because") {
				out = append(out, at(n)+": function "+n.Name.Name+" has more than 80 lines: divide it, or say 'Long because …' in its comment")
			}
		case *ast.GenDecl:
			for _, s := range n.Specs {
				spec, ok := s.(*ast.TypeSpec)
				if !ok {
					continue
				}
				body, ok := spec.Type.(*ast.StructType)
				if ok && fields(body) > mostFields && !strings.Contains(n.Doc.Text()+spec.Doc.Text(), "Wide because") {
					out = append(out, at(spec)+": type "+spec.Name.Name+" has more than 20 fields: group them, or say 'Wide because …' in its comment")
				}
			}
		}
		return true
	})
	return out
}

func fields(s *ast.StructType) (n int) {
	for _, f := range s.Fields.List {
		n += max(1, len(f.Names))
	}
	return n
}

func TestTooLarge(t *testing.T) {
	wide := "struct { a, b, c, d, e, f, g, h, i, j int; k, l, m, n, o, p, q, r, s, t string; u bool }"
	long := "{\n" + strings.Repeat("_ = 1\n", mostLines) + "}\n"
	for _, c := range []struct {
		name, text string
		want       int
	}{
		{"small", "type x struct { a, b int }\nfunc y() {}", 0},
		{"wide", "type x " + wide, 1},
		{"wide with a reason", "// Wide because it is a row of a table.\ntype x " + wide, 0},
		{"wide in a group", "type (\n x " + wide + "\n)", 1},
		{"twenty fields", "type x " + strings.Replace(wide, "; u bool", "", 1), 0},
		{"long", "func x() " + long, 1},
		{"long with a reason", "// Long because it is a table.\nfunc x() " + long, 0},
		{"a long file", strings.Repeat("var _ = 1\n", mostFile), 1},
	} {
		files := token.NewFileSet()
		file, err := parser.ParseFile(files, "x.go", "package x\n"+c.text, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		if got := tooLarge(files, file); len(got) != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// This room drives and shows; what thinks lives elsewhere, so that it can be tested apart.
func TestCommandsStayThin(t *testing.T) {
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	lines := 0
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		lines += bytes.Count(text, []byte("\n"))
	}
	if lines == 0 || lines > 3000 {
		t.Errorf("%d lines of code, of 3000 at the most: move what thinks into a room of its own", lines)
	}
}
