package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/reason"
)

// foreign are words that no shop says of these things, or says otherwise (US English throughout), and
// what is said in their place. Common practice, no source.
var foreign = []struct{ word, instead string }{
	{`false air`, "unmetered air, vacuum leak"},
	{`nobody forced`, "at rest (no test running)"},
	{`pushes back`, "responds"},
	{`stands? still`, "holds, pauses"},
	{`[Bb]eliev`, "is good, checks out"},
	{`truthfully`, "correctly"},
	{`[Ww]hoever`, "anyone"},
	{`extraction`, "exhaust hose"},
	{`held (lean|rich)`, "driven lean, lean step"},
	{`computer's (side|input)`, "ECM side, ECM input"},
	{`(grey|colour|vapour|judgement|recognise|polarise)`, "US spelling"},
	{`from memory`, "nothing: it is a note to ourselves"},
	{`[Aa]ny key:`, "Press any key"},
	{`force (begins|is released)`, "step starts, released"},
	{`as a resistor|never the resistor`, "keep your fingers out of the circuit"},
	{`no data tells`, "scan data can't show"},
	{`0\.00 s`, "within 0.1 s"},
}

// What people read has one vocabulary: the texts of every room that shows something.
func TestVocabulary(t *testing.T) {
	for _, dir := range []string{".", "../sheet", "../report", "../page", "../term", "../views", "../live", "../rig", "../replay", "../intake", "../advice", "../ring", "./why",
		"../../pushback", "../../../analysis/hazard"} {
		for name, texts := range literals(t, dir) {
			for _, text := range texts {
				check(t, name, text)
			}
		}
	}
	for _, name := range []string{"../report/report.html", "../page/assets/index.html", "../../../README.md"} {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		check(t, name, regexp.MustCompile(`(?s)<style.*?</style>|\x60{3}.*?\x60{3}|<[^>]*>|\{\{.*?\}\}`).ReplaceAllString(string(b), " "))
	}
}

func check(t *testing.T, name, text string) {
	t.Helper()
	for _, f := range foreign {
		if m := regexp.MustCompile(f.word).FindString(text); m != "" {
			t.Errorf("%s: %q in %q; say: %s", name, m, text[:min(len(text), 120)], f.instead)
		}
	}
}

// literals are the texts of several words in the sources of a package, its tests left out.
func literals(t *testing.T, dir string) map[string][]string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil || len(files) == 0 {
		t.Fatalf("%s: %v, %v", dir, files, err)
	}
	out := map[string][]string{}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				if s, err := strconv.Unquote(l.Value); err == nil && strings.Contains(s, " ") {
					out[name] = append(out[name], s)
				}
			}
			return true
		})
	}
	return out
}

// What the car's owner would stumble over.
var forOwner = regexp.MustCompile(`(?i)trim|\bECM|propane|\d V|loop|bias|bank`)

// A time after a step is never said more exactly than it was read, and by one interval.
func TestOneFigure(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{After(0.03), "within 0.1 s of"}, {After(0.26), "0.3 s after"},
		{Within(0, 0.04), "within 0.1 s"}, {Within(0.02, 0.43), "within 0.4 s"}, {Within(0.5, 0.92), "after 0.5 to 0.9 s"},
		{Percent(24.97), "+25 %"},
		{EventText(analysis.Event{Name: analysis.TrimAtLimit, Value: 25.8}), "short-term trim pegged at +26 %"},
	} {
		if tt.got != tt.want {
			t.Errorf("%q, want %q", tt.got, tt.want)
		}
	}
}

// Every step that can settle an open verdict has a name, a reason and a text; each fits a terminal of 80 columns.
func TestOpenVerdictsHaveNames(t *testing.T) {
	for _, s := range []analysis.Step{analysis.LeanStep, analysis.RichStep, analysis.FeedPropane, analysis.InduceLean, analysis.LongerHold, analysis.ShorterHold,
		analysis.CloseBranch, analysis.OpenCheck, analysis.CoolDown, analysis.LeakCheck, analysis.MoreReading, analysis.HandsOff, analysis.ForceOther, analysis.HoldWire} {
		v := VerdictOf(analysis.Verdict{Conclusion: analysis.ConclusionUnclear, Decide: s, Next: []reason.Reason{reason.Told.Of("x")}})
		if v.Name == "UNCLEAR" || v.Name == "" || v.Why == "" || v.Step == "" || len(v.Name) > 14 {
			t.Errorf("%s: %+v", s, v)
		}
		if v.owner == "" || v.plan == "" || forOwner.MatchString(v.owner+v.plan) {
			t.Errorf("%s: to the owner: %q, %q", s, v.owner, v.plan)
		}
	}
	pegged := analysis.Verdict{Conclusion: analysis.ConclusionUnclear, Decide: analysis.FeedPropane, Proofs: []analysis.Proof{
		{ID: analysis.ProofAddsFuel, State: analysis.Unclear, Evidence: map[string]float64{"limit_pct": 25}}}}
	if v := VerdictOf(pegged); v.Name != "PEGGED LEAN" || !strings.Contains(v.Why, "+25 %") {
		t.Errorf("%+v", v)
	}
	for _, tt := range []struct {
		why  reason.Reason
		name string
	}{{reason.LayAsHeld.Of(0.1, 9.0, analysis.Lean), "HELD OR NOT"}, {reason.NeitherMoved.Of(), "TAPS DIFFER"}} {
		v := analysis.Verdict{Conclusion: analysis.ConclusionUnclear, Decide: analysis.LeanStep,
			Proofs: []analysis.Proof{{ID: analysis.ProofInput, State: analysis.Unclear, Why: tt.why}}}
		if got := VerdictOf(v).Name; got != tt.name {
			t.Errorf("%v: %s, want %s", tt.why, got, tt.name)
		}
	}
	pegged.Proofs = append(pegged.Proofs, analysis.Proof{ID: analysis.ProofSensorRich, State: analysis.Proven})
	if v := VerdictOf(pegged); v.Name != "NO ROOM TO ADD" {
		t.Errorf("%+v", v)
	}
}
