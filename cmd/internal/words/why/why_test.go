package why

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/analysis/hazard/hazardtest"
	"pushback/analysis/reason"
)

// codes are the constants of package reason: their names by the code.
func codes(t *testing.T) map[reason.Code]string {
	t.Helper()
	out := map[reason.Code]string{}
	files, err := filepath.Glob("../../../../analysis/reason/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			v, is := n.(*ast.ValueSpec)
			if kind, named := ident(v, is); !named || kind != "Code" {
				return true
			}
			s, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if had := out[reason.Code(s)]; err != nil || had != "" {
				t.Errorf("%s and %s are both %q: %v", had, v.Names[0], s, err)
			}
			out[reason.Code(s)] = v.Names[0].Name
			return true
		})
	}
	return out
}

func ident(v *ast.ValueSpec, is bool) (string, bool) {
	if !is {
		return "", false
	}
	id, named := v.Type.(*ast.Ident)
	if !named {
		return "", false
	}
	return id.Name, true
}

// Each code has a sentence and each sentence a code, no two advise the same, and each carries the cautions that its own words
// call for; what forces a side has them from who knows by what it is forced.
func TestSentences(t *testing.T) {
	named := codes(t)
	if len(named) < 300 || len(named) != len(all) {
		t.Errorf("%d codes, %d sentences", len(named), len(all))
	}
	seen := map[string]reason.Code{}
	for code, name := range named {
		s, has := all[code]
		if !has || s.text == "" {
			t.Errorf("%s has no sentence", name)
			continue
		}
		r := code.Of(made(s.text)...)
		text := Text(r)
		if strings.Contains(text, "%!") || code != reason.Blank && strings.TrimSpace(text) == "" {
			t.Errorf("%s: %q", name, text)
		}
		if _, is := advice[code]; is {
			if other, had := seen[text]; had {
				t.Errorf("%s and %s are both %q", other, code, text)
			}
			seen[text] = code
		}
		switch code {
		case reason.SilentSideOnce, reason.HoldBothSides, reason.OtherSide, reason.Again, reason.ShorterHolds, reason.HoldAndSay, reason.CloseBranch:
			text = Text(r.With(hazard.Wire))
		}
		_, advises := advice[code]
		gas := code == reason.OnlyGas || code == reason.OnGas // what it runs on, nothing to do
		_, is := conditions[code]
		_, drives := trims[code]
		_, reads := tools[code]
		if pattern := strings.Contains(s.text, "(%s)"); advises || reads || drives && !pattern || is && !gas {
			for _, m := range hazardtest.Missing(text, false) {
				t.Errorf("%q lacks %q", text, m)
			}
		}
		if says, _, _ := strings.Cut(text, hazard.Mark); advises && strings.HasSuffix(says, ".") != (says != text) {
			t.Errorf("%q: a full stop stands before cautions, and nowhere else", text)
		}
	}
}

var verb = regexp.MustCompile(`%[-+0-9.]*[a-zA-Z%]`)

// made are figures that fit a sentence.
func made(text string) (out []any) {
	for _, v := range verb.FindAllString(text, -1) {
		switch v[len(v)-1] {
		case 'f', 'g':
			out = append(out, 1.5)
		case 'd', 'X':
			out = append(out, 2)
		case 's':
			out = append(out, analysis.Lean)
		}
	}
	return out
}

// A reason reads as its clauses do, one after the other, its cautions at the end and each step's own.
func TestText(t *testing.T) {
	plain := reason.HoldForRear.Of()
	for _, c := range []struct {
		r    reason.Reason
		want string
	}{
		{nil, ""},
		{reason.HeldAt.Of(0.02, 14.25).And(reason.TrimRose, reason.Interval{Lo: 0.81, Hi: 1.34}, 2.5, 19.5),
			"held at 0.02 V for 14.2 s; trim began to rise 0.8 to 1.3 s after, 2.5 % a second, to +19.5 %"},
		{reason.HeldAt.Of(0.02, 14.0).And(reason.TrimFell, reason.Interval{Lo: 0.81, Hi: 0.84}, 2.5, -19.5),
			"held at 0.02 V for 14.0 s; trim began to fall 0.8 s after, 2.5 % a second, to -19.5 %"},
		{reason.HandsOff.Of().For(reason.WatchedTooShort.Of()), "hands off for 30 s after the release: not watched for long enough after the release"},
		{reason.HandsOff.Of().For(nil), "hands off for 30 s after the release"},
		{plain.With(hazard.Hose), "hold until trim has moved 15 % for 15 s and watch the rear sensor. CAUTION: " + hazard.Cautions(hazard.Wire, hazard.Hose)},
		{plain, "hold until trim has moved 15 % for 15 s and watch the rear sensor. CAUTION: " + hazard.Cautions(hazard.Wire)},
		{reason.SaidForced.Of(analysis.Rich, 9.0).And(reason.Blank).Then(reason.NeitherMoved.Of()).And(reason.Stop),
			"Said to be forced rich, for 9 s: neither the reading nor trim moved: was the mixture really moved, and far enough."},
		{reason.Told.Of("100 % as it was"), "100 % as it was"},
	} {
		if got := Text(c.r); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestOdds(t *testing.T) {
	for p, want := range map[float64]string{0: "none: it was never there", 0.7: "better than even", 0.01: "1 in 100", 1.0 / 45678: "1 in 45678", 1e-7: "1 in 10 million", 3e-11: "1 in 30000 million", 1e-30: "less than 1 in a million million"} {
		if got := odds(p); got != want {
			t.Errorf("%g: %s, want %s", p, got, want)
		}
	}
}

// What is kept of a session has the sentences, and reads as they do, whatever version wrote it; a reason that was not put
// in words cannot be written by mistake.
func TestKept(t *testing.T) {
	why := reason.HeldSide.Of(analysis.Lean, 0.02, 14.0).And(reason.SeenAsBank, 2)
	v := analysis.Verdict{Conclusion: analysis.ConclusionUnclear, Decide: analysis.LongerHold, Next: []reason.Reason{reason.CheckHeater.Of()},
		Proofs: []analysis.Proof{{ID: analysis.ProofInput, State: analysis.Proven, Why: why, Evidence: map[string]float64{"held_s": 14}}}}
	e := analysis.Event{T: 3, Name: analysis.NotReady, Reasons: []reason.Reason{reason.CoolantCold.Of(31.0), reason.LoopOpen.Of().Then(reason.StatusCold.Of())}}
	for _, x := range []any{v, e} {
		if line, err := json.Marshal(x); err == nil {
			t.Errorf("written without words: %s", line)
		}
	}
	want := `{"kind":"verdict","conclusion":"unclear","decide":"longer_hold","proofs":[{"id":"input","state":"proven","why":"held lean at 0.02 V for 14.0 s, seen as bank 2","evidence":{"held_s":14}}],` +
		`"next":["check the heater. CAUTION: ` + hazard.Heater.Caution() + `"]}`
	line, err := json.Marshal(Verdict(v))
	if err != nil || string(line) != want {
		t.Errorf("%s, want %s: %v", line, want, err)
	}
	var back analysis.Verdict
	if err := json.Unmarshal(line, &back); err != nil || Text(back.Proofs[0].Why) != Text(why) || Text(back.Next[0]) != Text(v.Next[0]) {
		t.Errorf("read %+v: %v", back, err)
	}
	line, err = json.Marshal(Event(e))
	if want := `{"kind":"event","t":3,"event":"not_ready","reasons":["coolant 31 °C: warm the engine up to 60 °C or more","open loop: not warm enough yet"]}`; err != nil || string(line) != want {
		t.Errorf("%s, want %s: %v", line, want, err)
	}
	var read analysis.Event
	if err := json.Unmarshal(line, &read); err != nil || !reflect.DeepEqual(read, Event(e)) || !reflect.DeepEqual(Texts(read.Reasons), Texts(e.Reasons)) {
		t.Errorf("read %+v: %v", read, err)
	}
}
