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
