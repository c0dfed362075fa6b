package term

import (
	"fmt"
	"io"
	"slices"
	"unicode/utf8"

	"pushback/cmd/internal/words"
)

// A Notice is the page's address, in words and as a code for a camera.
type Notice struct{ Address, Code []string }

// Print writes the notice as lines.
func (n *Notice) Print(w io.Writer, style Style) {
	fmt.Fprintln(w)
	for _, text := range n.Address {
		fmt.Fprintln(w, " "+text)
	}
	fmt.Fprintln(w)
	for _, row := range n.rows(style.Color) {
		fmt.Fprintln(w, row)
	}
}

// rows is the code, on black where there are colours: readable for a camera whatever
// the terminal's ground.
func (n *Notice) rows(color bool) []string {
	out := slices.Clone(n.Code)
	for i := range out {
		if color {
			out[i] = OnBlack(out[i])
		}
	}
	return out
}

// lines are the notice on a screen; the code is left out where it does not fit whole.
func (n *Notice) lines(w, h int, color bool) []string {
	out := []string{""}
	for _, text := range n.Address {
		out = append(out, wrap(text, w-2)...)
	}
	goes := wrap(words.NoticeGoes, w-2)
	out = append(out, "")
	switch {
	case len(n.Code) > 0 && (len(out)+len(n.Code)+len(goes)+1 > h || utf8.RuneCountInString(n.Code[0]) > w):
		out = append(out, wrap(words.NoRoomForCode, w-2)...)
	default:
		out = append(out, n.rows(color)...)
	}
	out = append(out, "")
	return append(out, goes...)
}
