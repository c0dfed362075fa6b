package main

import (
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestAllowed looks at all that is used, what is used in tests alone too. That is not
// handed out, so a licence that asks for changed files back may be there.
func TestAllowed(t *testing.T) {
	if testing.Short() {
		t.Skip("asks the go command for all that is used")
	}
	parts, err := linked([]string{"-test", "pushback/..."})
	if err != nil {
		t.Fatal(err)
	}
	if len(parts) < 20 {
		t.Errorf("only %d modules are listed", len(parts))
	}
	if err := write(io.Discard, parts, append(slices.Clone(allowed), "MPL-2.0"), true); err != nil {
		t.Error(err)
	}
}

func TestProgram(t *testing.T) {
	if testing.Short() {
		t.Skip("asks the go command for all that is used")
	}
	parts, err := linked(nil)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := write(&out, parts, allowed, false); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"github.com/spf13/cobra v",
		"github.com/inconshreveable/mousetrap v", // on Windows alone
		"Redistribution and use in source and binary forms",
		"uPlot, on the live page: MIT",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q", want)
		}
	}
}

// gpl is the notice that the GNU General Public License, version 3, asks for.
const gpl = `This program is free software: you can redistribute it and/or modify it under the
terms of the GNU General Public License as published by the Free Software Foundation,
either version 3 of the License, or (at your option) any later version.

This program is distributed in the hope that it will be useful, but WITHOUT ANY WARRANTY;
without even the implied warranty of MERCHANTABILITY or FITNESS FOR A PARTICULAR PURPOSE.
See the GNU General Public License for more details.
`

func TestRefused(t *testing.T) {
	if testing.Short() {
		t.Skip("compares with every licence text")
	}
	for _, c := range []struct{ name, file, text, want string }{
		{"copyleft", "COPYING", gpl, "licence GPL-3.0-or-later is not one of"},
		{"a text of their own", "LICENSE", "You may do with this on Sundays what you like.\n", "no licence that is recognised"},
		{"no licence", "README", gpl, "no licence that is recognised"},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, c.file), []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		files, err := licenceFiles(dir)
		if err != nil {
			t.Fatal(err)
		}
		err = write(io.Discard, []part{{"example.com/m v1.0.0", files}}, allowed, true)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
