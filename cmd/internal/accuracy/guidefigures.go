package accuracy

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/limits"
	"pushback/analysis/session"
)

// GuideFigures is what is asked of a guided test beside its verdict.
type GuideFigures struct {
	Lit, Dark int    // arcs that were proven at some time, and those of them that were not any more and nobody said so
	Missing   bool   // some side was not held for long enough and has a proof that is open, and so is the verdict
	Again     bool   // and the guide asked for it again, or said why it did not
	Step      string // that the verdict names as deciding; "": it names none
	StepRight bool   // it would decide
}

// wrongs says what was not as it should be.
func (g *GuideFigures) wrongs() (text string) {
	if g == nil {
		return ""
	}
	if g.Dark > 0 {
		text += fmt.Sprintf(", arcs that went dark: %d", g.Dark)
	}
	if g.Missing && !g.Again {
		text += ", not asked again"
	}
	if g.Step != "" && !g.StepRight {
		text += ", names " + g.Step
	}
	return text
}

// arcs follows which arcs of the ring are lit.
type arcs struct {
	now       map[analysis.ProofID]bool
	lit, dark int
}

// look takes a verdict; said are the arcs that were told to be taken back since.
func (a *arcs) look(v analysis.Verdict, said map[analysis.ProofID]bool) {
	if a.now == nil {
		a.now = map[analysis.ProofID]bool{}
	}
	for _, p := range v.Proofs {
		is := p.State == analysis.Proven
		switch {
		case is && !a.now[p.ID]:
			a.lit++
			delete(said, p.ID)
		case !is && a.now[p.ID] && !said[p.ID]:
			a.dark++
		}
		a.now[p.ID] = is
	}
}

// compare says whether the guide asked for what was missing, and whether the step that the verdict names would decide.
func (g *GuideFigures) compare(t *GuidedTrial, fault string) {
	asked, held := map[analysis.Side]int{}, map[analysis.Side]bool{}
	over := session.Reason("")
	for _, p := range t.Prompts {
		if p.New && p.Stage == session.StageForce {
			asked[p.Side]++
		}
		if p.Stage == session.StageDone || p.Stage == session.StageWait || p.Stage == session.StageReady {
			if over = p.Reason; over == "" && len(p.Why) > 0 {
				over = session.WhyNever // or not yet: it says what is not fit
			}
		}
	}
	holds := map[analysis.Side]int{}
	for _, f := range t.Truth {
		if f.End < 0 || f.End-f.Begin >= properHold {
			held[analysis.Side(f.Kind)] = true
		}
		if f.End < 0 || f.End-f.Begin >= teaches {
			holds[analysis.Side(f.Kind)]++
		}
	}
	if asked[analysis.Lean]+asked[analysis.Rich] > 0 && !strings.HasPrefix(fault, "wide") {
		g.Again = true
		for _, s := range []analysis.Side{analysis.Lean, analysis.Rich} {
			if !held[s] && holds[s] < limits.Forces && !allTold(t.Verdict, s) {
				g.Missing = true
				g.Again = g.Again && (asked[s] > 1 || over != "")
			}
		}
	}
	switch t.Verdict.Conclusion {
	case analysis.ConclusionUnclear, analysis.PartlyProven, analysis.NothingForced, analysis.ConclusionNotReady:
	default:
		g.Missing = false // what was held told enough
	}
	if strings.HasPrefix(fault, "wide") {
		g.Step = "" // its wire was never to be held
	}
	g.StepRight = slices.Contains(deciding(fault, t.Style.Open, t.Style.Other != "", held), g.Step)
}

// teaches is how long a hold must last to teach the computer anything; a side must not be held more than [limits.Forces] times for so long.
const teaches = 4 * time.Second

// allTold reports whether the verdict has all that a force of the side is for: what trim did, and what the sensor said after the release.
func allTold(v analysis.Verdict, s analysis.Side) bool {
	of := []analysis.ProofID{analysis.ProofAddsFuel, analysis.ProofSensorRich}
	if s == analysis.Rich {
		of = []analysis.ProofID{analysis.ProofCutsFuel, analysis.ProofSensorLean}
	}
	return !slices.ContainsFunc(v.Proofs, func(p analysis.Proof) bool {
		return slices.Contains(of, p.ID) && p.State != analysis.Proven && p.State != analysis.Failed
	})
}

// deciding lists the steps that would settle the verdict on a car with the fault: common practice, by what is wrong with the car and what
// was not done.
func deciding(fault string, open, other bool, held map[analysis.Side]bool) []string {
	all := []string{}
	add := func(is bool, steps ...analysis.Step) {
		for _, s := range steps {
			if is {
				all = append(all, string(s))
			}
		}
	}
	has := func(parts ...string) bool {
		return slices.ContainsFunc(parts, func(p string) bool { return strings.Contains(fault, p) })
	}
	add(!held[analysis.Lean], analysis.LeanStep)
	add(!held[analysis.Rich], analysis.RichStep)
	add(open, analysis.CloseBranch)
	add(other, analysis.ForceOther)
	add(has("given up", "doubted", "monitor"), analysis.ShorterHold)
	if has("given up", "doubted") {
		return all // all else that is held longer shows less
	}
	add(has("hot"), analysis.CoolDown)
	add(has("leak", "stuck lean"), analysis.LeakCheck)
	add(has("leak", "stuck", "flat", "not delivered", "sensor side"), analysis.FeedPropane)
	add(has("stuck rich", "not delivered"), analysis.InduceLean)
	add(has("flat", "sensor side", "open level"), analysis.CloseBranch, analysis.OpenCheck)
	add(has("sound", "trim", "never", "crossed", "input", "computer side", "slow", "not delivered", "monitor", "stuck", "flat", "sensor side"),
		analysis.LeanStep, analysis.RichStep, analysis.LongerHold, analysis.HandsOff, analysis.MoreReading)
	add(has("crossed", "one rear"), analysis.ForceOther)
	return all
}
