// Package term is what people read in a terminal: the live line, the events in
// words, prompts, the verdict.
package term

import (
	"io"
	"os"

	"github.com/mattn/go-isatty"

	"pushback/analysis"
	"pushback/cmd/internal/words"
)

// Style says what the reader's terminal can show.
type Style struct {
	Live  bool // a terminal: one line may be written over
	Color bool
}

// Safe is w where it is no terminal; what strangers wrote does not steer one.
func Safe(w io.Writer) io.Writer {
	if f, ok := w.(*os.File); ok && isatty.IsTerminal(f.Fd()) {
		return words.CleanWriter(w)
	}
	return w
}

// StyleOf looks at where the text goes. NO_COLOR and TERM=dumb are respected.
func StyleOf(w io.Writer) Style {
	f, ok := w.(*os.File)
	if !ok || !isatty.IsTerminal(f.Fd()) || os.Getenv("TERM") == "dumb" {
		return Style{}
	}
	return Style{Live: true, Color: os.Getenv("NO_COLOR") == ""}
}

// The Okabe-Ito blue and vermilion-orange of a 256-colour terminal; they differ
// for every kind of colour vision, and the arrow and the word say the same.
const (
	blue   = "\x1b[38;5;32m"
	orange = "\x1b[38;5;214m"
	bold   = "\x1b[1m"
	plain  = "\x1b[0m"
)

func (s Style) paint(code, text string) string {
	if !s.Color {
		return text
	}
	return code + text + plain
}

// Bold is for what must be read first.
func (s Style) Bold(text string) string { return s.paint(bold, text) }

// Side paints a text in the colour of a side.
func (s Style) Side(side analysis.Side, text string) string {
	switch side {
	case analysis.Lean:
		return s.paint(blue, text)
	case analysis.Rich:
		return s.paint(orange, text)
	}
	return text
}

// OnBlack paints a line white on black, whatever the terminal's colours.
func OnBlack(text string) string { return "\x1b[38;2;255;255;255;48;2;0;0;0m" + text + plain }
