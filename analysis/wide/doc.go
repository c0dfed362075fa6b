// Package wide judges cars with a wide-range (air-fuel ratio) sensor upstream. Nothing is ever
// joined to such a sensor's wires: the mixture itself is moved, with propane or an induced lean, or
// the computer moves it by a fuel cut. What comes of it is put into a model of the ring, see
// [Estimate], whose gain, delay and lag tell a sound loop from a sensor that shows too little or too
// late and from fuel that is not delivered.
//
//	fed mixture p·S ──┐
//	command u ─ g ────┴─► dead time D ─► lag τ ─► φ = 1/λ − 1
//
// Events, proofs and verdict are those of package analysis.
package wide
