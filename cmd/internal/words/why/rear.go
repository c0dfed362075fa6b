package why

import (
	"pushback/analysis/hazard"
	"pushback/analysis/reason"
)

// rear are the sentences of a drive that is judged by the sensor behind the catalyst.
var rear = sentences{
	reason.DriveHoldsNone:  {text: "a drive does not test this: the loop is the upstream sensor's"},
	reason.NoCutDriven:     {text: "no fuel cut was driven"},
	reason.NoPullDriven:    {text: "no full load was driven"},
	reason.CutsTooShort:    {text: "a fuel cut must last 5 s or more and be read often enough; of %d none did"},
	reason.PullsTooShort:   {text: "full load must last 4 s or more and be read often enough; of %d times none did"},
	reason.CutReadLean:     {text: "it read lean in %d of %d fuel cuts, down to %.2f V"},
	reason.PullReadRich:    {text: "it read rich in %d of %d times at full load, up to %.2f V"},
	reason.CutNotLean:      {text: "it did not read lean in %d fuel cuts of up to %.0f s: %.2f V was the lowest"},
	reason.PullNotRich:     {text: "it did not read rich in %d times at full load, of up to %.0f s: %.2f V was the highest"},
	reason.MissedInOthers:  {text: "; in %d that were long enough it did not"},
	reason.OnceOnly:        {text: "; once says too little"},
	reason.RearLagAtMost:   {text: "; its own lag is %.1f s at most (slower isn't judged: the catalyst's oxygen slows a change too)"},
	reason.OneReadingOnly:  {text: "; one reading says too little"},
	reason.LayThereAlways:  {text: "it read %s, as it did all the time (%.2f to %.2f V)"},
	reason.DriveBetween:    {text: "it came to %.2f V: neither there nor plainly not"},
	reason.RearCut:         {"in a drive, lift off from 2500 rpm or more in gear and keep the throttle shut for 5 s or more: the sensor must go below 0.2 V", may{hazard.Running, hazard.Road}},
	reason.RearPull:        {"in a drive, pull at full throttle for 4 s or more: the sensor must go above 0.6 V", may{hazard.Running, hazard.Road}},
	reason.RearUnread:      {text: "the sensor itself was not read: record again with its voltage (`pushback record` reads it)"},
	reason.TestTheFront:    {text: "this sensor reads both sides; for the loop itself test the upstream sensor of its bank (`pushback test`)"},
	reason.RearWiring:      {"check the sensor's plug, its wires up to the ECM and the ECM input for an open or a short, key off", may{hazard.Heater}},
	reason.LeakAheadOfRear: {"rule out an exhaust leak ahead of this sensor first: it has only ever read lean", may{hazard.Running}},
	reason.DriveCutSeen:    {text: "Fuel cut from %.1f to %.1f s"},
	reason.DrivePullSeen:   {text: "Full load from %.1f to %.1f s"},
	reason.NearestRead:     {text: ", %.2f V"},
	reason.PartGlimpsed:    {text: ": the one reading in it showed it."},
	reason.PartShown:       {text: ": the sensor showed it."},
	reason.PartMissed:      {text: ": long enough, and the sensor did not show it."},
	reason.PartTooShort:    {text: ": too short, or read too seldom, to count."},
	reason.PartBetween:     {text: ": it does not decide."},
	reason.PartDenied:      {text: ": the upstream sensor says it was none."},
}
