// Package simcar is a simulated OBD-II adapter with a simulated car behind it,
// written from physics and published figures. It is one [obd.Link] like any other.
//
//	driver ─► engine ─► fuel film ─► pipe (delay) ─► mixing ─► cell ─► catalyst ─► cell
//	             ▲                                              │
//	             │                                  wire ── TAP ── wire
//	             └──── trims ◄── computer ◄── input ◄──────────────┘
//	                                │
//	                              bus ◄──► adapter ◄──► serial line
//
// Cars have switching sensors or wide-range ones, computers that do things of their own
// accord, and speak SAE J1979 or J1979-2. Random and RandomWide draw them by seed with what a
// test should come to; package hands is a technician with habits.
//
// Nothing in it knows what judges the data: it has its own encoder, its own tables
// and no thresholds of a watcher.
//
// Time is simulated. In one process, [Sim.Link] and [Sim.Clock] advance it as they
// are read and slept on, so a test runs far faster than life and always the same
// way. [Serve] runs the same car by the machine's clock, for a pseudo-terminal or a
// TCP port.
//
// Mixtures are carried as the fuel-air equivalence ratio phi = 1/lambda, because
// phi stays finite when the fuel is cut and mixes linearly. Trims are fractions
// (0.05 = +5 %) inside and per cent outside. Gas flows are g/s, temperatures of
// cells kelvin, of coolant °C.
package simcar
