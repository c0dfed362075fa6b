package main

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
)

// checked holds the names of tests and databases whose check was arranged.
var checked sync.Map

// soundAtEnd has SQLite look for damage in the database when the test ends.
func soundAtEnd(t testing.TB, path string) {
	if _, done := checked.LoadOrStore(t.Name()+"\x00"+path, true); done {
		return
	}
	t.Cleanup(func() {
		if err := sound(path); err != nil {
			t.Error(err)
		}
	})
}

// databaseOf is the file that a command line names, "" if none.
func databaseOf(args []string) string {
	if i := slices.Index(args, "--db"); i >= 0 && i+1 < len(args) {
		return args[i+1]
	}
	return ""
}

// sound is SQLite's own integrity check; a file that is not there is sound.
func sound(path string) error {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	db, err := sql.Open("sqlite3", "file:"+path+"?mode=rw")
	if err != nil {
		return err
	}
	defer db.Close()
	var verdict string
	if err := db.QueryRow("pragma integrity_check").Scan(&verdict); err != nil || verdict != "ok" {
		return fmt.Errorf("integrity_check of %s: %q, %w", path, verdict, err)
	}
	return nil
}

// soundBelow is sound of all our databases in a folder and below.
func soundBelow(dir string) error {
	return filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() || filepath.Ext(path) != ".db" {
			return err
		}
		head, err := os.ReadFile(path)
		if err != nil || len(head) < 100 || string(head[68:72]) != "Pshb" { // our mark in SQLite's header
			return err
		}
		return sound(path)
	})
}
