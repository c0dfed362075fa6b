//go:build !linux

package term

import "os"

// singleKeys is not available here: keys count after Enter.
func singleKeys(*os.File) bool { return false }

// Restore has nothing to give back.
func Restore() {}
