package term

import (
	"fmt"
	"io"
	"os"
	"slices"
	"sort"
	"strconv"
	"strings"

	xterm "github.com/charmbracelet/x/term"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// Running text keeps to the terminal it goes to; elsewhere, and where that is very wide, to these.
const (
	fileColumns = 96
	mostColumns = 100
	leastText   = 40
)

// Columns is how wide running text to w may be.
func Columns(w io.Writer) int {
	f, ok := w.(*os.File)
	if !ok {
		return fileColumns
	}
	columns, _, err := xterm.GetSize(f.Fd())
	if err != nil || columns <= 0 {
		return fileColumns
	}
	return max(leastText, min(columns, mostColumns))
}

// WriteVerdict prints a verdict: its name, the reason, the one step, then what it rests on and what
// to do after that. With evidence the numbers behind each proof are printed too.
func (s Style) WriteVerdict(w io.Writer, v analysis.Verdict, evidence bool) {
	width := Columns(w)
	say := words.VerdictOf(v)
	fmt.Fprintln(w)
	name := say.Name
	if v.Sensor != "" && v.Beside == nil {
		name = v.Sensor + " " + name
	}
	fmt.Fprintln(w, s.Bold(name))
	for _, line := range wrap(say.Why, width) {
		fmt.Fprintln(w, s.Bold(line))
	}
	if say.Step != "" {
		fmt.Fprintln(w)
		IndentTo(w, width, words.Do+": ", say.Step)
		if say.Caution != "" {
			IndentTo(w, width, strings.Repeat(" ", len(words.Do))+"! ", say.Caution)
		}
	}
	if v.Beside != nil {
		fmt.Fprintf(w, "\n%s:", v.Sensor)
	}
	s.writeProofs(w, v.Proofs, evidence, width)
	if rest := words.Rest(v); len(rest) > 0 {
		fmt.Fprintf(w, "\n%s:\n", words.Then)
		for i, n := range rest {
			IndentTo(w, width, fmt.Sprintf("  %d. ", i+words.First(v)), n)
		}
	}
	fmt.Fprintln(w)
	if v.Beside != nil {
		s.WriteVerdict(w, *v.Beside, evidence)
	}
}

func (s Style) writeProofs(w io.Writer, proofs []analysis.Proof, evidence bool, width int) {
	if !slices.ContainsFunc(proofs, func(p analysis.Proof) bool { return p.State != analysis.Untested }) {
		return // eight times 'not tested' says nothing
	}
	fmt.Fprintln(w)
	for _, p := range proofs {
		fmt.Fprintf(w, "  %s %-26s %s\n", words.StateSigns[p.State], words.ProofTitles[p.ID], words.StateWords[p.State])
		IndentTo(w, width, "      ", why.Text(p.Why))
		if evidence && len(p.Evidence) > 0 {
			IndentTo(w, width, "      ", evidenceText(p.Evidence))
		}
	}
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
func WriteReasons(w io.Writer, reasons []reason.Reason) {
	width := Columns(w)
	fmt.Fprintf(w, "\n%s:\n", words.Weighed)
	for _, r := range reasons {
		indent := "  "
		if r.Below() {
			indent = "      "
		}
		for _, line := range wrap(strings.TrimSpace(why.Text(r)), width-len(indent)) {
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
func Indent(w io.Writer, sign, text string) { IndentTo(w, Columns(w), sign, text) }

// IndentTo prints a text in lines of so many columns, after a sign.
func IndentTo(w io.Writer, columns int, sign, text string) {
	for i, line := range wrap(text, columns-len([]rune(sign))) {
		if i > 0 {
			sign = strings.Repeat(" ", len([]rune(sign)))
		}
		fmt.Fprintln(w, sign+line)
	}
}
