// Package dossier gathers, in one pass over a session's records, all that can be said of it:
// the verdict and what was weighed for it, the events, what the computers told of themselves
// (trouble codes, freeze frame, monitors, own tests), the conditions, how the sensor switched,
// the trims, the traces with their holds, and the hash of the records. It also holds the
// conditions for a test and the comparison of two dossiers.
//
// All of it is typed: how it reads is said elsewhere. The package is pure: the same records
// give the same dossier.
package dossier
