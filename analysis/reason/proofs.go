package reason

// Of the wire and its input.
const (
	NothingForced     Code = "nothing_forced"
	ForcedUnfit       Code = "forced_unfit"
	LayAsHeld         Code = "lay_as_held"       // V, for s, side
	WentOnAsBefore    Code = "went_on_as_before" // side, for s, mean V
	HeldSide          Code = "held_side"         // side, V, s
	NotWithMixture    Code = "not_with_mixture"  // V, V
	WentWithMixture   Code = "went_with_mixture" // side, s
	SeenAsBank        Code = "seen_as_bank"      // bank
	AnotherUnfollowed Code = "another_unfollowed"
	OnlyFirstForces   Code = "only_first_forces" // how many, how many more
	WireUnknown       Code = "wire_unknown"
)

// Of what was said and not seen.
const (
	ForceTooShort   Code = "force_too_short"
	LayThereBefore  Code = "lay_there_before"
	LittleToCompare Code = "little_to_compare"
	PulledNotHeld   Code = "pulled_not_held"
	HeldForAMoment  Code = "held_for_a_moment"
	OtherBankSeldom Code = "other_bank_seldom"
	OtherBankOnSide Code = "other_bank_on_side"
	NeitherMoved    Code = "neither_moved"
)

// Of the bank.
const (
	NoTrimAnswered       Code = "no_trim_answered"
	OtherReadingFollowed Code = "other_reading_followed" // bank, the other
	OtherTrimAnswered    Code = "other_trim_answered"    // bank, the other
	ElsewhereOwn         Code = "elsewhere_own"
	BankAnswered         Code = "bank_answered" // bank
	OtherTrimUnread      Code = "other_trim_unread"
	MayReachBothBanks    Code = "may_reach_both_banks"
	BankInOrder          Code = "bank_in_order"  // Of(bank)
	OtherInOrder         Code = "other_in_order" // Of(bank, the other)
	OrderNotTold         Code = "order_not_told"
	OtherWithIt          Code = "other_with_it"      // the other bank
	OtherLayOpposite     Code = "other_lay_opposite" // bank, side
	OtherDidNot          Code = "other_did_not"      // the other bank
	OtherOnceWithIt      Code = "other_once_with_it" // the other bank
)

// Of the way back to switching.
const (
	NothingReleased   Code = "nothing_released"
	CycledAgain       Code = "cycled_again" // after s
	StandsFarOut      Code = "stands_far_out"
	NoCycleBefore     Code = "no_cycle_before"
	HadLeftClosedLoop Code = "had_left_closed_loop"
	WatchedTooShort   Code = "watched_too_short"
	BackNoCycle       Code = "back_no_cycle" // s
)

// Of trim's answer.
const (
	NotForced           Code = "not_forced" // side
	ReadingUnfollowed   Code = "reading_unfollowed"
	StoodAgainst        Code = "stood_against" // side, s
	NoWay               Code = "no_way"        // side, s
	TapsDiffer          Code = "taps_differ"
	ElsewhereNot        Code = "elsewhere_not"
	HeldAt              Code = "held_at"        // V, s
	MixtureMoved        Code = "mixture_moved"  // side, s
	TrimRose            Code = "trim_rose"      // interval, % a s, to %
	TrimFell            Code = "trim_fell"      // interval, % a s, to %
	PeggedAlready       Code = "pegged_already" // %
	WithTheForce        Code = "with_the_force" // %
	OpenMeanwhile       Code = "open_meanwhile"
	MovedElsewise       Code = "moved_elsewise"
	LeftClosedLoopAfter Code = "left_closed_loop_after" // s
	LetGoAfter          Code = "let_go_after"           // s
	NoAnswer            Code = "no_answer"              // %
	SteeredBefore       Code = "steered_before"
	SteeredElsewhen     Code = "steered_elsewhen"
	MayBePaused         Code = "may_be_paused"
	NothingNew          Code = "nothing_new" // side
	NotSteady           Code = "not_steady"
	TrimUnread          Code = "trim_unread"
	StoodAtMiddleLean   Code = "stood_at_middle_lean" // by %, for s
	StoodAtMiddleRich   Code = "stood_at_middle_rich" // by %, for s
	StoodTooShort       Code = "stood_too_short"      // %, for s
	WentOnHunting       Code = "went_on_hunting"      // %, %
	PoorContact         Code = "poor_contact"
	MovedTooLittle      Code = "moved_too_little"
	TooShortForSilence  Code = "too_short_for_silence"
	WhereItStopped      Code = "where_it_stopped"
	StoppedAtMiddleLean Code = "stopped_at_middle_lean" // %
	StoppedAtMiddleRich Code = "stopped_at_middle_rich" // %
	MiddleNoFurther     Code = "middle_no_further"
	MiddleMoveFurther   Code = "middle_move_further"
	BackAtMiddle        Code = "back_at_middle"
)

// Of the mixture that follows.
const (
	TrimNotFarEnough Code = "trim_not_far_enough"
	ForcedSensorSaid Code = "forced_sensor_said" // side
	BroughtBack      Code = "brought_back"
	SharedRearWent   Code = "shared_rear_went" // side, after s
	RearWent         Code = "rear_went"        // side, after s
	RearReads        Code = "rear_reads"       // side, trim %
	OneShowedOneNot  Code = "one_showed_one_not"
	UnevenBefore     Code = "uneven_before"
	AtAnotherForce   Code = "at_another_force"
	NothingMoved     Code = "nothing_moved" // trim %
	BranchMayBeOpen  Code = "branch_may_be_open"
	MayBeDead        Code = "may_be_dead"
	NoRear           Code = "no_rear"
	RearThereBefore  Code = "rear_there_before" // side
	LittleOxygen     Code = "little_oxygen"     // g
	NotBroughtBack   Code = "not_brought_back"
	RearTooSeldom    Code = "rear_too_seldom"
)

// Of the sensor's own report.
const (
	NeedsStep         Code = "needs_step" // side
	OnceAndNot        Code = "once_and_not"
	SaidAndBrought    Code = "said_and_brought" // side
	ReadingUnmoved    Code = "reading_unmoved"
	SaidAt            Code = "said_at" // side, V
	SideNotFar        Code = "side_not_far"
	LeftTooEarly      Code = "left_too_early"      // side, after s, %
	SaidRich          Code = "said_rich"           // side, interval, V, for s
	SaidLean          Code = "said_lean"           // side, interval, V, for s
	SaidLate          Code = "said_late"           // side, after s
	SaidNotButCycled  Code = "said_not_but_cycled" // side
	NeverSaid         Code = "never_said"          // V, V, for s, side, trim %
	GoneBeforeRelease Code = "gone_before_release"
	ReleasedTooEarly  Code = "released_too_early"
	// What a longer hold would show; left out where the computer lets go of the sensor, for then it would show less.
	HoldLonger         Code = "hold_longer"
	HoldLongerOrFaster Code = "hold_longer_or_faster"
	AfterRelease       Code = "after_release"
	RearContradicts    Code = "rear_contradicts" // trim %, side, for s
	LeakReadsSo        Code = "leak_reads_so"
	MovedWithTrim      Code = "moved_with_trim" // mV
)

// Of a release that does not decide.
const (
	CameToOpenLevel       Code = "came_to_open_level" // V
	LiesAsOpen            Code = "lies_as_open"       // V
	DeadStill             Code = "dead_still"         // V
	FewReadings           Code = "few_readings"
	HeldAgain             Code = "held_again" // after s
	TrimWasBack           Code = "trim_was_back"
	AsAllTheTime          Code = "as_all_the_time" // side
	CameTooLate           Code = "came_too_late"
	LateNotSlow           Code = "late_not_slow"
	NeitherPromptNorLate  Code = "neither_prompt_nor_late"
	NotExtreme            Code = "not_extreme"
	SideHardly            Code = "side_hardly"
	NoLongerThanSwitching Code = "no_longer_than_switching"
)
