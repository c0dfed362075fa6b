package term

import (
	"fmt"
	"io"
	"slices"
	"sort"
	"strconv"
	"strings"

	"pushback/analysis"
	"pushback/cmd/internal/words"
)

const width = 96 // columns that running text keeps to

// WriteVerdict prints a verdict: the answer, then what it rests on, then what to do
// next. With evidence the numbers behind each proof are printed too.
func (s Style) WriteVerdict(w io.Writer, v analysis.Verdict, evidence bool) {
	fmt.Fprintln(w)
	for i, line := range wrap(words.ConclusionText(v.Conclusion), width) {
		if i == 0 {
			line = s.Bold(line)
		}
		fmt.Fprintln(w, line)
	}
	proofs := v.Proofs
	if !slices.ContainsFunc(proofs, func(p analysis.Proof) bool { return p.State != analysis.Untested }) {
		proofs = nil // eight times 'not tested' says nothing
	}
	if len(proofs) > 0 {
		fmt.Fprintln(w)
	}
	for _, p := range proofs {
		fmt.Fprintf(w, "  %s %-29s %s\n", words.StateSigns[p.State], words.ProofTitles[p.ID], words.StateWords[p.State])
		for _, line := range wrap(p.Why, width-6) {
			fmt.Fprintf(w, "      %s\n", line)
		}
		if evidence && len(p.Evidence) > 0 {
			for _, line := range wrap(evidenceText(p.Evidence), width-6) {
				fmt.Fprintf(w, "      %s\n", line)
			}
		}
	}
	if len(v.Next) > 0 {
		fmt.Fprintf(w, "\n%s:\n", words.Page.Next)
	}
	for i, n := range v.Next {
		for k, line := range wrap(n, width-5) {
			lead := "     "
			if k == 0 {
				lead = fmt.Sprintf("  %d. ", i+1)
			}
			fmt.Fprintln(w, lead+line)
		}
	}
	fmt.Fprintln(w)
}

func evidenceText(e map[string]float64) string {
	keys := make([]string, 0, len(e))
	for k := range e {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for i, k := range keys {
		keys[i] = k + " " + strconv.FormatFloat(e[k], 'g', 4, 64)
	}
	return "[" + strings.Join(keys, ", ") + "]"
}

// WriteReasons prints what a verdict weighed, see [analysis.Watcher.Reasons].
func WriteReasons(w io.Writer, reasons []string) {
	fmt.Fprintf(w, "\n%s:\n", words.Weighed)
	for _, r := range reasons {
		indent := "  "
		if strings.HasPrefix(r, "  ") {
			indent = "      "
		}
		for _, line := range wrap(strings.TrimSpace(r), width-len(indent)) {
			fmt.Fprintf(w, "%s%s\n", indent, line)
		}
	}
	fmt.Fprintln(w)
}

// wrap breaks text at spaces into lines of at most n characters. A number stays
// with its unit.
func wrap(text string, n int) []string {
	var lines []string
	var line string
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		word := words[i]
		if last := word[len(word)-1]; '0' <= last && last <= '9' && i+1 < len(words) {
			i++
			word += " " + words[i]
		}
		switch {
		case line == "":
			line = word
		case len([]rune(line))+1+len([]rune(word)) > n:
			lines = append(lines, line)
			line = word
		default:
			line += " " + word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// Indent prints a text in the running width, after a sign.
func Indent(w io.Writer, sign, text string) { IndentTo(w, width, sign, text) }

// IndentTo prints a text in lines of so many columns, after a sign.
func IndentTo(w io.Writer, columns int, sign, text string) {
	for i, line := range wrap(text, columns-len([]rune(sign))) {
		if i > 0 {
			sign = strings.Repeat(" ", len([]rune(sign)))
		}
		fmt.Fprintln(w, sign+line)
	}
}
