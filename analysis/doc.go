// Package analysis judges: samples become events, events become proofs, proofs a
// verdict. It is pure: no clock, no input or output, no goroutine, no map
// iteration that could change an answer. The same samples give the same answer,
// live and in replay.
//
// What is compared with is this car's own behaviour at rest wherever that can be: how
// long its sensor stays on a side, how far its trim hunts. Fixed figures are of three
// kinds, and the comment beside each says which: trade figures (0.20, 0.45 and 0.80 V,
// a second for the sensor to show), what the standard's scaling makes (a count is
// 100/128 %, 5 mV), and limits of this tool that random simulated cars have shown to
// be on the safe side (`make accuracy`). None was fitted to a real car.
package analysis
