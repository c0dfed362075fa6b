package words

import (
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
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

// Brief leaves out the middle of a long text: an error names first what it is about, a path of any length it may be,
// and last what went wrong.
func Brief(s string) string {
	const head, tail = 300, 300
	r := []rune(s)
	if len(r) <= head+tail+3 {
		return s
	}
	return string(r[:head]) + " … " + string(r[len(r)-tail:])
}

// CleanWriter passes text on to a terminal through [Clean]. A character that a write cuts in two is kept for the next; what is
// half at the very end is dropped.
func CleanWriter(w io.Writer) io.Writer { return &cleaner{to: w} }

type cleaner struct {
	to   io.Writer
	half []byte // the beginning of a character
}

func (c *cleaner) Write(b []byte) (int, error) {
	text := append(c.half, b...)
	end := len(text)
	for i := max(0, end-utf8.UTFMax+1); i < end; i++ {
		if utf8.RuneStart(text[i]) && !utf8.FullRune(text[i:]) {
			end = i
			break
		}
	}
	if _, err := io.WriteString(c.to, Clean(string(text[:end]))); err != nil {
		return 0, err
	}
	c.half = append([]byte(nil), text[end:]...)
	return len(b), nil
}
