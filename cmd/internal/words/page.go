package words

import (
	"fmt"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/ring"
	"pushback/decode"
)

// Page holds the labels of the page. Those that its script needs reach it as data
// attributes.
var Page = struct {
	Lang, Sound, SoundOn, Awake, Film, Dark, Sun, Night string
	Mark, MarkNote, Released, Skip, Repeat              string
	NoData, NoConnection, Ended, Seconds, Refused       string
	Proofs, Next, Traces, Values                        string
	Replay, Position, Back, On, Stop, Go, Step          string
	Slower, Faster                                      string
	Voice, Buzz, More, Do                               string
}{
	Lang:  "en",
	Sound: "Tap for sound, screen on", SoundOn: "sound on", Awake: "sound on · screen stays on", Film: "sound on · screen should stay on",
	Dark: "This phone won't let a page keep the screen on. Turn off auto-lock, then tap here.",
	Sun:  "sun", Night: "night",
	Mark: "MARK", MarkNote: "mark from the page", Released: "TAP WHEN RELEASED", Skip: "skip this step", Repeat: "repeat side",
	NoData: "NO DATA FOR", NoConnection: "NO CONNECTION FOR", Ended: "The session has ended.", Seconds: "s", Refused: "didn't go through, tap again",
	Proofs: "Results", Next: "Then", Traces: "sensor voltage and short-term trim over time", Values: "present values",
	Replay: "replay controls", Position: "place in the session", Back: "◀ 10 s", On: "10 s ▶", Stop: "pause", Go: "play", Step: "next event",
	Slower: "slower", Faster: "faster",
	Voice: "voice", Buzz: "buzz", More: "▼ more", Do: Do,
}

// IsOn labels the button by which the technician says that a side is held.
func IsOn(s analysis.Side) string {
	return Arrow(s) + " " + strings.ToUpper(string(s)) + " CONNECTED"
}

// Clock is a session time as minutes and seconds.
func Clock(at time.Duration) string {
	s := int(at.Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// ArcSays is an arc and its state in words.
func ArcSays(a ring.Arc) string { return ProofTitles[a.ID] + ": " + ArcState(a) }

// RingLabels are the words in the drawing of the ring.
func RingLabels(sensor decode.SensorID) ring.Labels {
	bank := "bank"
	if sensor.Bank > 0 {
		bank = fmt.Sprintf("bank %d", sensor.Bank)
	}
	return ring.Labels{
		Title:  "The ring: signal wire, ECM, fuel, exhaust, sensor. Each arc fills as it passes.",
		Sensor: StationSensor, Tap: StationTap, Computer: StationComputer, Fuel: StationFuel, Exhaust: StationExhaust,
		Bank: bank, Scale: ArcShort[analysis.ProofScale], Sign: ArcSign, Says: ArcSays,
	}
}

// Voice is what is spoken aloud at a step: the words that matter to who cannot look, "" for none.
func Voice(s *live.State) string {
	switch {
	case s.Drive != nil && (s.Verdict != nil || !s.Lost):
		return driveSteps[s.Drive.Step].voice
	case s.Verdict != nil:
		return capital(strings.ToLower(VerdictOf(*s.Verdict).Name))
	case s.Replay || s.Prompt == nil:
		if Overheld(s) {
			return "Release now"
		}
		return ""
	}
	if s.Prompt.Drive {
		return spokenDrive[s.Prompt.Stage][s.Prompt.Side]
	}
	switch side := string(s.Prompt.Side); s.Prompt.Stage {
	case session.StageForce:
		return "Go " + side + spokenBank(*s.Prompt)
	case session.StageHold:
		return "Hold " + side
	case session.StageRelease:
		if bank := spokenBank(*s.Prompt); bank != "" {
			return "Release" + bank
		}
		return "Release now"
	}
	return ""
}

// The tones of the page, by what they mean. They differ by pattern, not by pitch
// alone.
const (
	ToneSeen    = "seen"    // the force, or the sensor's own answer, is seen
	ToneAdds    = "adds"    // the loop adds fuel
	ToneCuts    = "cuts"    // the loop cuts fuel
	ToneSilent  = "silent"  // loop or sensor does not answer
	ToneVerdict = "verdict" // the end
)

// Tone names the tone of an event, "" for none.
func Tone(e analysis.Event) string {
	switch e.Name {
	case analysis.ForceBegins, analysis.SensorAnswers:
		return ToneSeen
	case analysis.LoopAnswers:
		if e.Toward == "cut" {
			return ToneCuts
		}
		return ToneAdds
	case analysis.LoopSilent, analysis.SensorSilent, analysis.LoopWrongWay, analysis.OpenLoop:
		return ToneSilent
	}
	return ""
}
