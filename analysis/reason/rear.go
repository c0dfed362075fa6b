package reason

// Of a drive that is judged by the sensor behind the catalyst.
const (
	DriveHoldsNone Code = "drive_holds_none"
	NoCutDriven    Code = "no_cut_driven"
	NoPullDriven   Code = "no_pull_driven"
	CutsTooShort   Code = "cuts_too_short"   // how many
	PullsTooShort  Code = "pulls_too_short"  // how many
	CutReadLean    Code = "cut_read_lean"    // in how many, of how many, V
	PullReadRich   Code = "pull_read_rich"   // in how many, of how many, V
	CutNotLean     Code = "cut_not_lean"     // how many, s, V
	PullNotRich    Code = "pull_not_rich"    // how many, s, V
	MissedInOthers Code = "missed_in_others" // in how many
	OnceOnly       Code = "once_only"
	RearLagAtMost  Code = "rear_lag_at_most" // s
	OneReadingOnly Code = "one_reading_only"
	LayThereAlways Code = "lay_there_always" // side, V, V
	DriveBetween   Code = "drive_between"    // V
)

// What is advised of it.
const (
	RearCut         Code = "rear_cut"
	RearPull        Code = "rear_pull"
	RearUnread      Code = "rear_unread"
	TestTheFront    Code = "test_the_front"
	RearWiring      Code = "rear_wiring"
	LeakAheadOfRear Code = "leak_ahead_of_rear"
)

// Of what was weighed.
const (
	DriveCutSeen  Code = "drive_cut_seen"  // from s, to s
	DrivePullSeen Code = "drive_pull_seen" // from s, to s
	NearestRead   Code = "nearest_read"    // V
	PartGlimpsed  Code = "part_glimpsed"
	PartShown     Code = "part_shown"
	PartMissed    Code = "part_missed"
	PartTooShort  Code = "part_too_short"
	PartBetween   Code = "part_between"
	PartDenied    Code = "part_denied"
)
