// Package obd holds one dialogue with one OBD-II adapter: what is asked, what
// comes back, and when.
//
//	Request ──► Adapter ──► Link ──► wire
//	Exchange ◄─ Adapter ◄─ scanner ◄─┘
//
// A session is a sequence of [Record]s. Every attempt is a record, a time-out
// too, so time passes only through records and a replay is exact. The raw text
// that the adapter printed is the truth; the replies in it are found again by
// [Parse] whenever a session is read.
//
// A request is in the words of SAE J1979 in any car; a [Dialect] puts it into those of the car.
//
// The package imports nothing else of this module. Sub-packages: seriallink and
// tcplink open a line, poll decides what to ask next, capture keeps the raw dialogue as
// text, simcar is a simulated adapter and car, obdtest helps to test any of them.
package obd
