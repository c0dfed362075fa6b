package words

import (
	"strings"
	"unicode"
)

// joiner and nonJoiner join letters and pictures; what else has no shape of its own steers a
// terminal or turns the direction of writing.
const (
	nonJoiner = '\u200c'
	joiner    = '\u200d'
)

// Clean takes out of a stranger's text what would steer a terminal, and keeps the lines
// of a note.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.In(r, unicode.Cc, unicode.Cf) && r != '\n' && r != '\t' && r != joiner && r != nonJoiner {
			return -1
		}
		return r
	}, s)
}

// Printable makes one short line of a text, for the terminal. What joins letters and
// pictures stays, what turns the direction of writing does not.
func Printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) && r != joiner && r != nonJoiner {
			return -1
		}
		return r
	}, strings.Join(strings.Fields(s), " "))
	if r := []rune(s); len(r) > 4000 {
		s = string(r[:4000])
	}
	return s
}
