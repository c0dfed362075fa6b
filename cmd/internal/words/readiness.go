package words

import (
	"fmt"
	"slices"
	"strings"

	"pushback/decode"
)

// Readiness says lamp, codes and monitors in one line: "lamp on, 1 code; not complete: catalyst".
func Readiness(r *decode.Readiness) string {
	var head string
	if !r.ThisCycle && !r.ByGroups {
		lamp, codes := "off", "codes"
		if r.MIL {
			lamp = "on"
		}
		if r.Codes == 1 {
			codes = "code"
		}
		head = fmt.Sprintf("lamp %s, %d %s; ", lamp, r.Codes, codes)
	}
	if open := r.Incomplete(); len(open) > 0 {
		return head + "not complete: " + strings.Join(open, ", ")
	}
	if !slices.ContainsFunc(r.Monitors[:], func(m decode.Monitor) bool { return m.Supported }) {
		return head + "no monitor supported"
	}
	return head + "all monitors complete"
}
