package page

import (
	"strings"

	"rsc.io/qr"
)

// QR draws a text as a QR code in half blocks, two modules a row, with the quiet
// zone that readers need. Light modules are drawn, dark ones are gaps: right on a
// dark ground; inverse draws it for a light one.
func QR(text string, inverse bool) ([]string, error) {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return nil, err
	}
	const zone = 2
	light := func(x, y int) bool {
		in := x >= 0 && y >= 0 && x < code.Size && y < code.Size
		return (in && code.Black(x, y)) == inverse
	}
	var rows []string
	for y := -zone; y < code.Size+zone; y += 2 {
		var b strings.Builder
		for x := -zone; x < code.Size+zone; x++ {
			upper, lower := light(x, y), light(x, y+1) && y+1 < code.Size+zone
			switch {
			case upper && lower:
				b.WriteRune('█')
			case upper:
				b.WriteRune('▀')
			case lower:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		rows = append(rows, b.String())
	}
	return rows, nil
}
