package words

import (
	"fmt"
	"strings"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/ring"
)

// Page holds the labels of the page. Those that its script needs reach it as data
// attributes.
var Page = struct {
	Lang, Sound, SoundOn, Awake, Film, Dark, Sun, Night  string
	Mark, MarkNote, Released, Skip, Repeat               string
	NoData, NoConnection, Ended, Seconds, Refused        string
	Lean, Rich, Adds, Cuts, Proofs, Next, Traces, Values string
	Replay, Position, Back, On, Stop, Go, Step           string
	Slower, Faster                                       string
}{
	Lang:  "en",
	Sound: "Tap for sound and keep screen on", SoundOn: "sound on", Awake: "sound on · screen stays on", Film: "sound on · screen should stay on",
	Dark: "This phone won't let a page keep the screen on. Turn off auto-lock, then tap here.",
	Sun:  "sun", Night: "night",
	Mark: "MARK", MarkNote: "mark from the page", Released: "RELEASED", Skip: "skip this step", Repeat: "repeat this side",
	NoData: "NO DATA FOR", NoConnection: "NO CONNECTION FOR", Ended: "The session has ended.", Seconds: "s", Refused: "didn't go through, tap again",
	Lean: "LEAN", Rich: "RICH", Adds: "adds fuel", Cuts: "cuts fuel", Proofs: "Results", Next: "Next", Traces: "sensor voltage and short-term trim over time", Values: "present values",
	Replay: "replay controls", Position: "place in the session", Back: "◀ 10 s", On: "10 s ▶", Stop: "pause", Go: "play", Step: "next event",
	Slower: "slower", Faster: "faster",
}

// IsOn labels the button by which the technician says that a side is held.
func IsOn(s analysis.Side) string {
	return Arrow(s) + " " + strings.ToUpper(string(s)) + " IS ON"
}

// Clock is a session time as minutes and seconds.
func Clock(at time.Duration) string {
	s := int(at.Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// ArcSays is an arc and its state in words.
func ArcSays(a ring.Arc) string { return ProofTitles[a.ID] + ": " + ArcState(a) }

// RingLabels are the words in the drawing of the ring.
func RingLabels(sensor string) ring.Labels {
	bank := "bank"
	if len(sensor) == 4 {
		bank += " " + sensor[1:2]
	}
	return ring.Labels{
		Title:  "The ring: signal wire, ECM, fuel, exhaust, sensor. Each arc fills as it passes.",
		Sensor: StationSensor, Tap: StationTap, Computer: StationComputer, Fuel: StationFuel, Exhaust: StationExhaust,
		Bank: bank, Sign: ArcSign, Says: ArcSays,
	}
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
