package seriallink

import "testing"

func TestCanonical(t *testing.T) {
	for _, c := range []struct{ goos, port, want string }{
		{"windows", "COM4", "COM4"},
		{"windows", "com4", "COM4"},
		{"windows", "COM4:", "COM4"},
		{"windows", `\\.\COM10`, "COM10"},
		{"windows", `\\.\com256`, "COM256"},
		{"windows", `\\?\COM10`, "COM10"},
		{"windows", "COM0", "COM0"}, // no port of Windows, whose first is 1
		{"windows", `\\.\pipe\adapter`, `\\.\pipe\adapter`},
		{"windows", `C:\COM4`, `C:\COM4`},
		{"windows", "COM", "COM"},
		{"windows", "tcp://com4:1", "tcp://com4:1"},
		{"linux", "com4", "com4"}, // a file may be named so
		{"linux", `\\.\COM10`, `\\.\COM10`},
		{"linux", "/dev/ttyUSB0", "/dev/ttyUSB0"},
	} {
		if got := canonical(c.goos, c.port); got != c.want {
			t.Errorf("%s %s: %s, want %s", c.goos, c.port, got, c.want)
		}
	}
}
