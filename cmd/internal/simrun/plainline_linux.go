package simrun

import (
	"os"

	"golang.org/x/sys/unix"
)

// plainLine makes a terminal pass bytes as they are, as a serial line does.
func plainLine(f *os.File) error {
	mode, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return err
	}
	mode.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	mode.Oflag &^= unix.OPOST
	mode.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	return unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, mode)
}
