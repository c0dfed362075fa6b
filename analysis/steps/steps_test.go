package steps_test

import (
	"fmt"
	"strings"
	"testing"

	"pushback/analysis/hazard"
	"pushback/analysis/hazard/hazardtest"
	"pushback/analysis/steps"
)

// figures are those that sentences take, as a session could have them.
var figures = map[steps.Code][]any{
	steps.LeakFirst: {14.2}, steps.NotZero: {0.19}, steps.OtherSide: {"rich"}, steps.ShorterHolds: {5.0, "left closed loop", 7.0, ""},
	steps.HoldAndSay: {"lean", "lean", 31.0, 0.05, 12.0}, steps.FirmerContact: {"the reading went on"}, steps.FurtherMixture: {"the reading went on"},
	steps.CloseBranch: {"rich", "the reading lies at the open level"},
}

// Each sentence takes its figures, and carries the cautions that its own words call for; what forces a
// side has them from who knows by what it is forced.
func TestSentences(t *testing.T) {
	seen := map[string]steps.Code{}
	for code := steps.LookElsewhere; code <= steps.CoolDown; code++ {
		a := steps.Of(code, figures[code]...)
		text := a.String()
		if text == "" || strings.Contains(text, "%!") {
			t.Errorf("step %d: %q", code, text)
		}
		if other, had := seen[text]; had {
			t.Errorf("steps %d and %d are both %q", other, code, text)
		}
		seen[text] = code
		switch code {
		case steps.SilentSideOnce, steps.HoldBothSides, steps.OtherSide, steps.Again, steps.ShorterHolds, steps.HoldAndSay, steps.CloseBranch:
			text = a.With(hazard.Wire).String()
		}
		for _, m := range hazardtest.Missing(text, false) {
			t.Errorf("%q lacks %q", text, m)
		}
		if advice, _ := hazard.Cut(text); strings.HasSuffix(advice, ".") != (advice != text) {
			t.Errorf("%q: a full stop stands before cautions, and nowhere else", text)
		}
	}
}

// What is added to one piece of advice is not added to the step, nor to another's.
func TestWithAddsToOneOnly(t *testing.T) {
	plain := steps.Of(steps.HoldForRear)
	one, two := plain.With(hazard.Hose), plain.With(hazard.Propane)
	for _, c := range []struct {
		a    steps.Advice
		want string
	}{{plain, hazard.Cautions(hazard.Wire)}, {one, hazard.Cautions(hazard.Wire, hazard.Hose)}, {two, hazard.Cautions(hazard.Wire, hazard.Propane)}} {
		if _, caution := hazard.Cut(c.a.String()); caution != c.want {
			t.Errorf("%q, want %q", caution, c.want)
		}
	}
}

func ExampleAdvice_String() {
	fmt.Println(steps.Of(steps.HandsOff).For("not watched for long enough after the release"))
	fmt.Println(steps.Of(steps.CheckHeater))
	// Output:
	// hands off for 30 s after the release: not watched for long enough after the release
	// check the heater. CAUTION: Key off before unplugging: the heater's wires carry battery voltage. The sensor burns.
}
