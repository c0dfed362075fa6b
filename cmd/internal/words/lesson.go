package words

import (
	"strconv"
	"strings"

	"pushback/analysis"
)

// What a lesson on a hidden car asks and answers.
const (
	LessonIntro   = "Readings of a bias test, one line a second. Both steps were held as asked. What is wrong, and what would you do next?"
	LessonMixture = "Readings of a mixture test on a wide-range sensor, one line a second: propane, then a vacuum hose off. Both steps were made as asked. What is wrong, and what would you do next?"
	LessonVerdict = "Your verdict (number or name): "
	LessonNext    = "Your next step, in your own words: "
	LessonRight   = "RIGHT"
	LessonWrong   = "NOT THIS TIME"
	LessonNone    = "NO ANSWER"
)

// answers are those that a lesson lets choose from.
var answers = []analysis.Conclusion{
	analysis.LoopProven, analysis.PartlyProven, analysis.InputDead, analysis.NoCommand, analysis.NoDelivery, analysis.SensorDead,
	analysis.SensorSlow, analysis.WrongBank, analysis.ConclusionNotReady, analysis.ConclusionUnclear, analysis.SensorSkewed, analysis.NothingForced,
}

// Answers are the conclusions that may be answered, in the order in which they are numbered from 1.
func Answers() []analysis.Conclusion { return answers }

// Answered is the conclusion that somebody means who types its number, its name on the screen or
// its name in JSON; false where it is none.
func Answered(text string) (analysis.Conclusion, bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	plainly := strings.ReplaceAll(strings.ReplaceAll(text, "_", " "), "-", " ")
	for i, c := range answers {
		if plainly == plain(string(c)) || plainly == strings.ToLower(ConclusionName(c)) || text == strconv.Itoa(i+1) {
			return c, true
		}
	}
	return "", false
}
