// Package capture keeps the raw dialogue with an adapter as text, and reads it back as
// the records of a session.
//
// A capture is made of lines: a time in seconds from its beginning, a sign, and what
// it is about. Bytes are quoted as Go quotes strings.
//
//	pushback capture 1
//	# 2026-05-01T10:00:00Z
//	# session {"id":"b7kqrt","watching":"B1S1","by":"wire",…}
//	0.812345000 > "01"
//	0.812401000 < "01"
//	0.812402000 > "141\r"
//	0.829377000 < "141\r7E80441145A80000000\r\r>"
//	0.640112000 = can11-500 headers padded
//	12.481200000 ! lean
//	31.700011000 x "read /dev/ttyUSB0: the line to the adapter is gone"
//
// Lines that begin with # are comments; the one that begins with [SessionComment] describes the
// session, in words that this package hands on as they are.
//
// The signs: > to the adapter, < from it, ! what the technician says, x the line failed. =
// names the bus and how replies are printed, and the dialect unless it is J1979; its time is when the session began, which
// may lie before the lines around it.
package capture
