// Package decode turns the bytes that a vehicle answers into physical values by
// SAE J1979 (ISO 15031-5): signals with units, trouble codes, supported PIDs, the
// layout of the oxygen sensors. It is pure and imports nothing else of this module.
//
// All follows from one table of signals, a line for each, in table.go. PIDs 4F and
// 50, by which a car may widen the scaling of 10, 0B, 24-2B, 34-3B and 44 (from
// memory), are not applied.
package decode
