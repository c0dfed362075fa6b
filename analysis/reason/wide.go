package reason

// Of what was not tried.
const (
	Unmoved         Code = "unmoved"
	MovedUnsaid     Code = "moved_unsaid" // %, at s
	UnmovedLean     Code = "unmoved_lean"
	UnmovedRich     Code = "unmoved_rich"
	NotMadeRich     Code = "not_made_rich"
	NotMadeLean     Code = "not_made_lean"
	NothingLetGo    Code = "nothing_let_go"
	FuelNotCompared Code = "fuel_not_compared"
	NoWireHeld      Code = "no_wire_held"
)

// Of the reading.
const (
	LambdaWent        Code = "lambda_went"        // side, after s
	LambdaWentAtEnd   Code = "lambda_went_at_end" // side, within s
	ReadingFollowed   Code = "reading_followed"   // by %
	NoOvershoot       Code = "no_overshoot"       // trim %, side
	ReadingStoodStill Code = "reading_stood_still"
	ForcedWhileOpen   Code = "forced_while_open"
	WasItMoved        Code = "was_it_moved"
	StayedDeadRear    Code = "stayed_dead_rear" // side, for s, ratio
	StayedDeadBank    Code = "stayed_dead_bank" // side, for s, ratio
	SlowLag           Code = "slow_lag"         // s, s, s
	LagOpen           Code = "lag_open"         // s, s
	LagOdds           Code = "lag_odds"         // log odds, towards rich, towards lean
	SlowOneWay        Code = "slow_one_way"     // side
	SensorShowsNot    Code = "sensor_shows_not"
)

// Of trim's answer.
const (
	MovedTrimRose      Code = "moved_trim_rose"      // side, from s, to s, by %
	MovedTrimFell      Code = "moved_trim_fell"      // side, from s, to s, by %
	TrimCameUp         Code = "trim_came_up"         // by %
	TrimCameDown       Code = "trim_came_down"       // by %
	OpenedBeforeAnswer Code = "opened_before_answer" // after s
	SilentOnce         Code = "silent_once"          // for s
	SilentTimes        Code = "silent_times"         // times, for s
	AtItsMiddle        Code = "at_its_middle"        // for s, side
	NoFurther          Code = "no_further"           // at %
	HuntingOnly        Code = "hunting_only"
)

// Of the mixture that follows.
const (
	LoopBrought      Code = "loop_brought"      // %
	Overshot         Code = "overshot"          // by %
	LambdaUnfollowed Code = "lambda_unfollowed" // trim %, gain
	TrimLittle       Code = "trim_little"       // by %
	LambdaFollowed   Code = "lambda_followed"   // gain
	FollowedInPart   Code = "followed_in_part"  // gain
	RearFollowed     Code = "rear_followed"
)

// Of the way back to the command.
const (
	BackAfter    Code = "back_after" // s
	EndUnwatched Code = "end_unwatched"
	NotBack      Code = "not_back"
)

// Of the scale.
const (
	Scale                Code = "scale"         // %, %, %
	ScaleBetween         Code = "scale_between" // %, %: its middle says little
	WhileRearFollowed    Code = "while_rear_followed"
	NeitherSoundNorWrong Code = "neither_sound_nor_wrong"
	HalfOfWhat           Code = "half_of_what" // %
	RearUndecided        Code = "rear_undecided"
	OddBank              Code = "odd_bank"        // bank, %, odd bank
	Contrary             Code = "contrary"        // ratio, V, for s
	RearTrimStood        Code = "rear_trim_stood" // trim %, for s
	LeakCylinderOrSensor Code = "leak_cylinder_or_sensor"
)

// Of a fuel cut.
const (
	CutUnseen   Code = "cut_unseen"
	CutFollowed Code = "cut_followed" // ratio
	CutLean     Code = "cut_lean"     // ratio
	SlowFlank   Code = "slow_flank"   // s
	CutDead     Code = "cut_dead"     // for s, V
)

// Of the wire of the sensor behind the catalyst.
const (
	RearNotAsked   Code = "rear_not_asked"
	RearNotMoved   Code = "rear_not_moved"
	RearSaidRich   Code = "rear_said_rich"
	RearHeld       Code = "rear_held"        // V, for s
	RearAskedTrim  Code = "rear_asked_trim"  // %
	RearAskedRatio Code = "rear_asked_ratio" // %
	RearAskedShort Code = "rear_asked_short" // %
	UpstreamRicher Code = "upstream_richer"  // by %
)

// What is advised.
const (
	Believe           Code = "believe"
	FeedForRatio      Code = "feed_for_ratio"
	ShutOffAgain      Code = "shut_off_again"
	LiftOff           Code = "lift_off"
	ClosedAllTheTime  Code = "closed_all_the_time"
	CodesMayFreeze    Code = "codes_may_freeze"
	WhenThisTrims     Code = "when_this_trims"
	CheckPump         Code = "check_pump"
	HeaterAndCode     Code = "heater_and_code"
	LeakAheadOfEither Code = "leak_ahead_of_either"
	PlugAndResistor   Code = "plug_and_resistor"
	CutTellsInput     Code = "cut_tells_input"
	MeteredFeed       Code = "metered_feed"
	HandsOffAfter     Code = "hands_off_after"
	HoldRear          Code = "hold_rear"
	FeedMore          Code = "feed_more"
)

// Of what was weighed.
const (
	WideRest      Code = "wide_rest" // %, %, %
	NoFit         Code = "no_fit"
	CameBackEarly Code = "came_back_early"
	Model         Code = "model"   // gain, from, to, delay s, from, to, lag s, from, to, fed %, from s, through s, until s, through s
	Residue       Code = "residue" // %, readings
	Beside        Code = "beside"  // gain, from, to, fed %
	Cut           Code = "cut"     // from s, to s, ratio, s, s, V, V/s
)
