package bias

import (
	"fmt"
	"strings"
)

// canvas is text by row and column.
type canvas [][]rune

func (c canvas) put(row, column int, text string) {
	for _, r := range text {
		for len(c[row]) <= column {
			c[row] = append(c[row], ' ')
		}
		c[row][column] = r
		column++
	}
}

// Drawing draws the source, its clips and where they go.
func (d Design) Drawing() string {
	const plus, mid, wire = 2, 22, 46 // columns of the supply, the divider's middle, and the sensor
	joint := "R2: joints soldered"
	if d.Clipped {
		joint = "R2 is only clipped!"
	}
	c := make(canvas, 7)
	c.put(0, plus, fmt.Sprintf("+ %.3g V, %s", d.Supply.Volts.Nom, d.Supply.What))
	c.put(0, wire, "▲ to the computer")
	c.put(1, plus, "│")
	c.put(1, wire, "│")
	c.put(2, plus, "└"+strings.Repeat("─", mid-plus-1)+"┬"+strings.Repeat("─", wire-mid-1)+"● signal wire")
	c.put(2, plus+2, "[ R1 "+Ohms(d.Top)+" ]")
	c.put(2, mid+8, "clip 1 ")
	c.put(3, mid, "│")
	c.put(3, wire, "╳ the sensor's branch: open it here")
	c.put(4, mid-5, "[ R2 "+Ohms(d.Bottom)+" ]")
	c.put(4, wire-2, "sensor")
	c.put(5, mid, "│ "+joint)
	c.put(5, wire, "│")
	c.put(6, plus, "− "+strings.Repeat("─", mid-plus-2)+"┴"+strings.Repeat("─", wire-mid-1)+"● sensor return, not the chassis")
	c.put(6, mid+8, "clip 2 ")
	lines := make([]string, len(c))
	for i, l := range c {
		lines[i] = strings.TrimRight(string(l), " ")
	}
	return strings.Join(lines, "\n")
}
