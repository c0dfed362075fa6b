package reason

import "slices"

// Of a force.
const (
	Force               Code = "force" // number, side, from s, s, s, to s
	SeenUnsaid          Code = "seen_unsaid"
	AsSaid              Code = "as_said"
	DiscountedUnfit     Code = "discounted_unfit"
	DiscountedOutOfStep Code = "discounted_out_of_step"
	Stop                Code = "stop"
	RestRead            Code = "rest_read"        // readings, s, V, V, stays, s, s, stays, s, s
	RestUnread          Code = "rest_unread"      // readings, s
	TrimRestRead        Code = "trim_rest_read"   // readings, s, %, %, %
	TrimRestUnread      Code = "trim_rest_unread" // readings, s
	HeldShare           Code = "held_share"       // %, V, chance
	Weighed             Code = "weighed"          // by readings, by others, by release, before
	NoForce             Code = "no_force"         // V, s, from s, log odds, log odds
	SaidForced          Code = "said_forced"      // side, s
	SaidMean            Code = "said_mean"        // readings, V
	Blank               Code = "blank"
	WentOn              Code = "went_on"
)

// Of trim's answer to it.
const (
	NoTrimRead     Code = "no_trim_read"
	TrimRead       Code = "trim_read" // readings, from %, %, %, last %
	AnswerOpen     Code = "answer_open"
	Answered       Code = "answered"
	AnswerSilent   Code = "answer_silent"
	AnswerWrongWay Code = "answer_wrong_way"
	AnswerCannot   Code = "answer_cannot"
	AgainstHunting Code = "against_hunting" // s, blocks, %, correlation, sum, sum, sum, sum, alarm, alarm
	AnswerBegan    Code = "answer_began"    // s, s, s
	Surely         Code = "surely"
	AnswerRate     Code = "answer_rate"  // % a s
	StoodWithin    Code = "stood_within" // s, % a s, s
)

// Of its release.
const (
	ReleasedAt   Code = "released_at" // trim %, side
	ReportOpen   Code = "report_open"
	Reported     Code = "reported"
	ReportedLate Code = "reported_late"
	NotReported  Code = "not_reported"
	ReportVague  Code = "report_vague"
	NoReport     Code = "no_report"
	Bracket      Code = "bracket"
	Unbracket    Code = "unbracket"
	StayedOnSide Code = "stayed_on_side" // s, s, s
	LivesWeighed Code = "lives_weighed"  // mV, log odds
	StillThere   Code = "still_there"
	LeftWith     Code = "left_with" // %
	RearRest     Code = "rear_rest" // V, V
	RearNoRest   Code = "rear_no_rest"
	RearAway     Code = "rear_away"   // trim %, s, g, s, g
	RearGone     Code = "rear_gone"   // side
	RearStayed   Code = "rear_stayed" // side
)

// Of the sensor's own swings between forces.
const (
	OwnSwings   Code = "own_swings"   // side, swings, lag s, s
	SmallSwings Code = "small_swings" // swings, lag s
	FewSwings   Code = "few_swings"   // side, swings
	SlowWeight  Code = "slow_weight"  // log likelihood ratio, limit
)

// Of how the conclusion follows.
const (
	Concluded Code = "concluded" // conclusion
	ArcsOf    Code = "arcs_of"   // state, proofs
	OfSensor  Code = "of_sensor" // Of(sensor)
	ArcOrder  Code = "arc_order"
)

// below are the codes of lines that stand below a head, such as a force.
var below = []Code{
	LivesWeighed, RestRead, RestUnread, TrimRestRead, TrimRestUnread, HeldShare, Weighed, NoTrimRead, TrimRead, AgainstHunting, AnswerBegan, StoodWithin, ReleasedAt, StayedOnSide, RearRest, RearNoRest, WideRest, NoFit, CameBackEarly, Model, Residue, Beside,
}

// Below reports whether a reason is a line below the head before it.
func (r Reason) Below() bool { return len(r) > 0 && slices.Contains(below, r[0].Code) }
