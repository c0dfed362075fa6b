// Package decode turns the bytes that a vehicle answers into physical values by
// SAE J1979 (ISO 15031-5): signals with units, trouble codes, supported PIDs, the
// layout of the oxygen sensors. It is pure and imports nothing else of this module.
package decode
