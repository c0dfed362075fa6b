package bias

import (
	"fmt"
	"strings"
)

// Drawing draws the source, its clips and where they go.
func (d Design) Drawing() string {
	pad := func(s string, n int) string { return s + strings.Repeat(" ", max(0, n-len([]rune(s)))) }
	top, bottom := pad(Ohms(d.Top), 7), pad(Ohms(d.Bottom), 7)
	joint := "solder both joints of R2"
	if d.Clipped {
		joint = "R2 is only clipped"
	}
	return strings.Join([]string{
		fmt.Sprintf("  + %.3g V, %s                       to the computer", d.Supply.Volts.Nom, d.Supply.What),
		"  │                                          ▲",
		fmt.Sprintf("  └──[ R1 %s ]──┬──── clip 1 ─────────● signal wire", top),
		"                      │                      ╳ sensor's branch: open it here",
		fmt.Sprintf("              [ R2 %s ]          sensor", bottom),
		fmt.Sprintf("                      │      %s", joint),
		"  − ──────────────────┴──── clip 2 ─────────● sensor return (not the chassis)",
	}, "\n")
}
