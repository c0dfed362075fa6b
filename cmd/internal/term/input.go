package term

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"pushback/cmd/internal/live"
	"pushback/obd"
)

// Listen obeys what is typed, from a goroutine of its own that ends with the input; say
// answers. The end of the input does not stop a session. It reports whether single keys
// count; then [Restore] is due.
func Listen(in io.Reader, c live.Controls, say func(string)) bool {
	if f, ok := in.(*os.File); ok && singleKeys(f) {
		go keys(f, c, say)
		return true
	}
	go lines(in, c, say)
	return false
}

func lines(in io.Reader, c live.Controls, say func(string)) {
	known := "mark lean|rich|release, note TEXT, stop"
	if c.Enter != nil {
		known = "tap, repeat, skip, " + known
	}
	for r := bufio.NewReader(in); ; {
		text, err := r.ReadString('\n')
		if text != "" && !line(text, c) {
			say(fmt.Sprintf("not understood: %.60q (%s)", strings.TrimSpace(text), known))
		}
		if err != nil {
			return
		}
	}
}

// line obeys one line of standard input, and reports whether it was understood.
func line(text string, c live.Controls) bool {
	text = strings.TrimSpace(text)
	word, rest, _ := strings.Cut(text, " ")
	rest = strings.TrimSpace(rest)
	switch {
	case word == "mark" && (rest == "lean" || rest == "rich" || rest == "release"):
		return c.Say(obd.Mark{Kind: obd.MarkKind(rest)})
	case word == "note":
		return c.Note(rest)
	case text == "stop":
		return live.Do(c.Stop)
	case text == "":
		live.Do(c.Enter)
		return true
	case text == "tap" || text == "next":
		return live.Do(c.Enter)
	case text == "skip":
		return live.Do(c.Skip)
	case text == "repeat":
		return live.Do(c.Again)
	}
	return false
}

func keys(in io.Reader, c live.Controls, say func(string)) {
	r := bufio.NewReader(in)
	for {
		k, _, err := r.ReadRune()
		if err != nil {
			return
		}
		switch unicode.ToLower(k) {
		case 'q':
			live.Do(c.Stop)
		case ' ':
			c.Key("space")
		case '\r', '\n':
			c.Key("enter")
		case 'n':
			say("note (Enter ends it):")
			text, err := r.ReadString('\n')
			c.Note(text)
			if err != nil {
				return
			}
		default:
			c.Key(string(unicode.ToLower(k)))
		}
	}
}
