package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"

	"pushback/obd"
)

// hands is what the technician can do while a session runs.
type hands struct {
	mark  func(obd.Mark)
	stop  func()
	enter func() // the guided test's 'done'; nil without a guide
	skip  func()
	again func()
	say   func(string)
}

// listen takes what is typed, from a goroutine of its own that ends with the
// input. The end of the input does not stop a session. It reports whether single
// keys count.
func listen(in io.Reader, h hands) bool {
	if f, ok := in.(*os.File); ok && singleKeys(f) {
		go keys(f, h)
		return true
	}
	go lines(in, h)
	return false
}

func lines(in io.Reader, h hands) {
	sc := bufio.NewScanner(in)
	for sc.Scan() {
		h.line(sc.Text())
	}
}

// line obeys one line of standard input.
func (h hands) line(text string) {
	text = strings.TrimSpace(text)
	word, rest, _ := strings.Cut(text, " ")
	rest = strings.TrimSpace(rest)
	switch {
	case word == "mark" && (rest == "lean" || rest == "rich" || rest == "release"):
		h.mark(obd.Mark{Kind: obd.MarkKind(rest)})
	case word == "note" && rest != "":
		h.mark(obd.Mark{Kind: obd.MarkNote, Text: rest})
	case text == "stop":
		h.stop()
	case text == "" || text == "next":
		if h.enter != nil {
			h.enter()
		}
	case text == "skip" && h.skip != nil:
		h.skip()
	case text == "repeat" && h.again != nil:
		h.again()
	default:
		h.say(fmt.Sprintf("not understood: %q (mark lean|rich|release, note TEXT, stop)", text))
	}
}

func keys(in io.Reader, h hands) {
	r := bufio.NewReader(in)
	for {
		k, _, err := r.ReadRune()
		if err != nil {
			return
		}
		switch unicode.ToLower(k) {
		case 'l':
			h.mark(obd.Mark{Kind: obd.MarkLean})
		case 'r':
			h.mark(obd.Mark{Kind: obd.MarkRich})
		case ' ':
			h.mark(obd.Mark{Kind: obd.MarkRelease})
		case 'q':
			h.stop()
		case '\r', '\n':
			if h.enter != nil {
				h.enter()
			}
		case 's':
			if h.skip != nil {
				h.skip()
			}
		case 'b':
			if h.again != nil {
				h.again()
			}
		case 'n':
			h.say("note (Enter ends it):")
			text, err := r.ReadString('\n')
			if text = strings.TrimSpace(text); text != "" {
				h.mark(obd.Mark{Kind: obd.MarkNote, Text: text})
			}
			if err != nil {
				return
			}
		}
	}
}
