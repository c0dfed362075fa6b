// Package analysis judges: samples become events, events become proofs, proofs a
// verdict. It is pure: no clock, no input or output, no goroutine, no map
// iteration that could change an answer. The same samples give the same answer,
// live and in replay.
package analysis
