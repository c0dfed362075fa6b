// Package widecsv reads and writes sessions as a wide table: a column t_s with the
// seconds since the session began, one column per signal named by the standard's
// short name, in the standard's units, and, where the technician forced something,
// a column mark with the words lean, rich and release.
//
//	t_s,mark,O2S11,SHRTFT1,RPM
//	12.04,,0.715,-1.5625,
//	12.31,lean,0.02,,812.5
//
// An empty cell means that the signal was not read at that time.
package widecsv

const (
	timeColumn = "t_s"
	markColumn = "mark"
)
