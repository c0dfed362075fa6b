//go:build !linux

package main

import "os"

// singleKeys is not available here: keys count after Enter.
func singleKeys(*os.File) bool { return false }

func restoreTerminal() {}

// plainLine leaves the line as the system made it.
func plainLine(*os.File) error { return nil }
