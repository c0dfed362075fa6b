// Package bias computes how to hold an oxygen sensor's signal wire rich or lean
// without harm: the divider that makes about 0.9 V from a dry cell, what the wire
// then carries with the sensor and the computer in parallel, what happens when a clip
// slips or a joint breaks, and through which resistance a ground still counts as zero.
// It is pure circuit theory of one node (Millman's theorem), checked against a circuit
// simulator. All voltages are against the sensor return; units V, Ω, A, W.
package bias
