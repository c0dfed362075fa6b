package seriallink

import (
	"regexp"
	"runtime"
	"strings"
)

var comPort = regexp.MustCompile(`(?i)^(?:\\\\[.?]\\)?(com[1-9][0-9]*):?$`)

// Canonical returns a port's name as [Ports] lists it. Windows takes the names of its
// ports in small letters, with a colon, and with the prefix of its devices too, which
// other programs ask for from the tenth port on: \\.\com10 is COM10. Elsewhere a name is
// what it is.
func Canonical(port string) string { return canonical(runtime.GOOS, port) }

func canonical(goos, port string) string {
	if m := comPort.FindStringSubmatch(port); goos == "windows" && m != nil {
		return strings.ToUpper(m[1])
	}
	return port
}
