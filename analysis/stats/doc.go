// Package stats holds the estimators that trim maps and comparisons rest on: robust
// regression with errors that respect autocorrelation, and the block bootstrap. It
// knows nothing of cars. Readings of a control loop follow each other closely, so
// nothing here counts them as independent.
package stats
