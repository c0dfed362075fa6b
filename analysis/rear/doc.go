// Package rear judges a drive by the narrow sensor behind the catalyst, whose trim no computer makes from it: nobody holds its wire, and
// what the engine does by itself is the test. A fuel cut sends air through the catalyst, so the sensor must read lean; full load
// sends rich gas through it, so it must read rich. A reading that lies on one side all the time shows neither.
//
// How fast it is is bounded, not judged: a cut brings it lean only when the catalyst's oxygen store is full, and nobody knows how much that holds, so a
// late or slow change may be the catalyst's. A quick one shows that the sensor is no slower.
//
// That is all it shows: the loop is the sensor's in front, and its proofs stay untested. Events, proofs and verdict are those of
// package analysis; what a fuel cut is, is [analysis.OpenForDriving] and [analysis.Lifted]. The limits are common practice, without a
// source, where none is named.
package rear
