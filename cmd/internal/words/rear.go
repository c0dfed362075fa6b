package words

import (
	"fmt"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/reason"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
)

// DrivesRear reports whether a session is a drive that is judged by the sensor behind the catalyst.
func DrivesRear(s session.Setup) bool {
	return s.By == analysis.ByFuelCut && s.Sensor.Position > 1
}

// byDrive reports whether a verdict is that of such a drive.
func byDrive(v analysis.Verdict) bool {
	return proof(v, analysis.ProofInput).Why.Has(reason.DriveHoldsNone)
}

// partOf is what the engine did by itself.
func partOf(side analysis.Side) string {
	if side == analysis.Rich {
		return "full load"
	}
	return "fuel cut"
}

// driveEvent words an event that a drive made by itself.
func driveEvent(e analysis.Event) string {
	toward := analysis.Side(e.Toward)
	switch e.Name {
	case analysis.ForceBegins:
		return Arrow(e.Side) + " " + partOf(e.Side) + " starts"
	case analysis.ForceEnds:
		return partOf(e.Side) + " is over"
	case analysis.SensorAnswers:
		return fmt.Sprintf("rear sensor reads %s %s, %s the start of the %s", Arrow(toward), toward, After(e.After), partOf(toward))
	case analysis.SensorSilent:
		return fmt.Sprintf("rear sensor never read %s in %.1f s of %s", toward, e.Waited, partOf(toward))
	}
	return string(e.Name)
}

// driveBigNow is what stands large in such a drive, live or replayed, while it is ready; false elsewhere.
func driveBigNow(s *live.State) (Headline, bool) {
	switch {
	case !DrivesRear(s.Setup):
		return Headline{}, false
	case s.Phase == live.Held:
		return Headline{Text: strings.ToUpper(partOf(s.Side)), Side: s.Side}, true
	}
	return Headline{Text: "DRIVE"}, s.Phase == live.Released || !s.Replay && s.Ready != nil && *s.Ready
}

// driveSaysNow is what to do in a drive that nobody leads.
const driveSaysNow = "Drive: lift off from 2500 rpm for 5 s or more, then pull at full load for 4 s or more. Twice each."

// rearSteps is a drive that is led, in a few capitals, and in full.
var rearSteps = map[session.Stage]map[analysis.Side][2]string{
	session.StageForce: {
		analysis.Lean: {"LIFT OFF", "LIFT OFF IN GEAR, where the road allows: from 2500 rpm or more take your foot off the throttle, stay in gear, for 6 s or more."},
		analysis.Rich: {"FULL LOAD", "FULL LOAD, where the road allows: a middle gear from 2000 rpm, uphill if you can, floor it for 5 s or more."},
	},
	session.StageHold: {
		analysis.Lean: {"KEEP OFF", "FUEL CUT: keep your foot off the throttle."},
		analysis.Rich: {"STAY ON IT", "FULL LOAD: stay on it, within the law."},
	},
	session.StageAnswer: {
		analysis.Lean: {"EASE OFF", "Drive on easily."},
		analysis.Rich: {"EASE OFF", "Ease off and drive on easily."},
	},
}

func driveStep(p session.Prompt) string {
	if text := rearSteps[p.Stage][p.Side][0]; text != "" {
		return text
	}
	return "DONE"
}

// drivePrompt words a step of a drive that is led.
func drivePrompt(p session.Prompt) string {
	if text := rearSteps[p.Stage][p.Side][1]; text != "" {
		return text
	}
	return "The drive is done. Stop where it's safe before you touch this machine."
}

// spokenDrive is what a phone says aloud at such a step.
var spokenDrive = map[session.Stage]map[analysis.Side]string{
	session.StageForce:  {analysis.Lean: "Lift off, foot off the throttle", analysis.Rich: "Full load"},
	session.StageHold:   {analysis.Lean: "Keep off", analysis.Rich: "Stay on it"},
	session.StageAnswer: {analysis.Lean: "Drive on easily", analysis.Rich: "Ease off"},
}

// driveMeans is why a drive concludes so.
func driveMeans(v analysis.Verdict) string {
	lean, rich := proof(v, analysis.ProofSensorLean).State, proof(v, analysis.ProofSensorRich).State
	switch v.Conclusion {
	case analysis.PartlyProven:
		switch {
		case lean != analysis.Proven:
			return "The rear sensor reads rich at full load; no long enough fuel cut yet."
		case rich != analysis.Proven:
			return "The rear sensor reads lean in a fuel cut; no long enough full load yet."
		}
		return "The rear sensor reads lean in a fuel cut and rich at full load. The loop wasn't tested."
	case analysis.SensorDead:
		return "The exhaust changed, but the rear sensor, its wire or the ECM input never showed it."
	case analysis.NothingForced:
		return "No fuel cut and no full load was driven, so nothing passed and nothing failed."
	}
	return ConclusionMeans(v.Conclusion)
}

// driveOwner words such a verdict for the car's owner.
func driveOwner(o *Owner, v analysis.Verdict, forced bool) {
	if forced {
		o.Did = "An oxygen sensor behind the catalytic converter watches what comes out of it. We recorded a drive and checked that the sensor noticed when the engine ran without fuel, coasting, and when it pulled hard."
	}
	both := !slices.ContainsFunc([]analysis.ProofID{analysis.ProofSensorLean, analysis.ProofSensorRich}, func(id analysis.ProofID) bool {
		return proof(v, id).State != analysis.Proven
	})
	switch v.Conclusion {
	case analysis.PartlyProven:
		o.Answer = "So far, yes. The rear sensor passed half of its test."
		o.Next = []string{"We'll drive the other half before replacing anything."}
		if both {
			o.Answer = "The rear sensor works. The fuel control itself was not part of this test."
			o.Next = []string{"Nothing we tested needs replacing.", "If the fuel control is in doubt, we'll test the sensor ahead of the catalytic converter."}
		}
	case analysis.SensorDead:
		o.Answer = "No. The exhaust changed, but the oxygen sensor behind the catalytic converter didn't see it."
	}
}
