// Package store keeps sessions in one SQLite file.
//
// What was asked and the raw text that came back are the truth; samples are
// derived. schema/0001.sql and those after it describe the tables and views. The file
// is in WAL mode with full synchronisation: what was committed survives a kill or a
// loss of power, and other processes may read while a session runs. A [Writer] commits
// at most a quarter of a second after a record was appended.
//
// It is the only package that imports the SQLite driver.
package store
