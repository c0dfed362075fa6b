package words

import (
	"fmt"
	"strings"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
)

// bankOf is the bank that a step is about, as " B2", where two wires are held.
func bankOf(p session.Prompt) string {
	if len(p.Sensors) == 1 {
		return " " + p.Sensors[0][:2]
	}
	return ""
}

// Second is what the other bank's sensor reads and what its test has come to, where both wires are held; "" where one is.
func Second(s *live.State) string {
	if s.Second.Sensor == "" {
		return ""
	}
	text := s.Second.Sensor + "  " + Waiting
	if v := s.OtherVolts; v.Known && s.Now-v.At <= live.Stale {
		text = s.Second.Sensor + "  " + ReadingText(v.Value, false, 2) + " " + ReadsText(live.Reads(v.Value))
	}
	if s.OtherTrim.Known {
		text += "  trim " + Signed(s.OtherTrim.Value, 1) + " %"
	}
	proven := 0
	for _, p := range s.Second.Proofs {
		switch p.State {
		case analysis.Proven:
			proven++
		case analysis.Failed:
			text += "  " + StateSigns[analysis.Failed] + " " + ArcShort[p.ID]
		}
	}
	if proven > 0 { // by number, for all of them in words are more than a line
		text += fmt.Sprintf("  %s %d of %d", StateSigns[analysis.Proven], proven, len(s.Second.Proofs))
	}
	return text
}

// bothSay words a step of a test that holds two wires: which it is about, and what becomes of the other.
func bothSay(p session.Prompt, by analysis.By) string {
	names := p.Sensors
	p.Sensors = nil
	switch {
	case p.Stage == session.StageRelease:
		return ">>> RELEASE " + names[0] + " NOW: disconnect it and reconnect its sensor <<<"
	case p.Stage == session.StageHold && len(names) == 2:
		return "BOTH HELD " + strings.ToUpper(string(p.Side)) + ": hold them."
	}
	text := strings.Join(names, " and ") + ": " + PromptSays(p, by)
	if p.Stage == session.StageForce && p.Until > 0 {
		text += " Keep holding the other."
	}
	return text
}

func spokenBank(p session.Prompt) string {
	if bank := bankOf(p); bank != "" {
		return " bank " + bank[2:]
	}
	return ""
}
