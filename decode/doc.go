// Package decode turns the bytes that a vehicle answers into physical values by
// SAE J1979 (ISO 15031-5): signals with units, trouble codes, supported PIDs, the
// layout of the oxygen sensors. It is pure and imports nothing else of this module.
//
// All follows from one table of signals, a row for each, in table.go; the scales that a car
// declares by PIDs 4F and 50 are applied to 0B, 10, 24-2B, 34-3B and 44.
package decode
