// Package transfer says what a session is on its way out of a database and into one,
// whatever the format of the file. Each format is a package of its own and has a
// [Format]: widecsv, longcsv, parquet, portable (SQLite).
package transfer

import (
	"context"
	"io"
	"iter"
	"regexp"
	"slices"
	"strings"

	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// Format is a kind of file that sessions are written to and read from.
type Format struct {
	Name      string // of the flag: csv, parquet, …
	Extension string
	About     string // what it is good for
	Single    bool   // a file holds one session

	// Write writes sessions; to a Single format exactly one.
	Write func(ctx context.Context, w io.Writer, sessions iter.Seq2[Session, error]) error
	// Is recognises a file by its first bytes, up to 4096 of them.
	Is func(head []byte) bool
	// Open opens a file, which may be hostile: what it makes the reader do is bounded.
	Open func(ctx context.Context, path string) (Reader, error)
}

// Session is a session on its way out.
type Session struct {
	Meta      store.Meta
	Lines     iter.Seq2[Line, error] // may be ranged over more than once
	Judgement store.Judgement        // as it is stored
}

// Line is one record and the samples decoded from it.
type Line struct {
	Record  obd.Record
	Samples []decode.Sample
}

// Reader reads the sessions of a file, one after the other.
type Reader interface {
	// Session goes on to the next session of the file and describes it as far as the
	// file tells; io.EOF after the last.
	Session(context.Context) (store.Meta, error)
	// Next returns the next record of that session; io.EOF after the last.
	Next(context.Context) (obd.Record, error)
	Close() error
}

// VisitAlone is a visit of which no session is in the file, on its way out or in: a Session without records, whose id is empty.
func VisitAlone(v store.Visit) Session {
	return Session{Meta: store.Meta{Visit: &v}, Lines: func(func(Line, error) bool) {}}
}

// IsVisitAlone reports whether m describes a visit alone, see [VisitAlone]; a session read from a file is never one.
func IsVisitAlone(m store.Meta) bool { return m.ID == "" && m.Visit != nil }

// Redact leaves out of a session what is personal: the VIN unless vin, what the
// technician noted unless notes. A VIN goes from the description's texts too, where
// somebody may have typed it.
func Redact(s Session, vin, notes bool) Session {
	if !vin {
		s.Meta.VIN = ""
		for _, text := range []*string{&s.Meta.Label, &s.Meta.Vehicle, &s.Meta.Note} {
			*text = withoutVIN(*text)
		}
	}
	if !notes {
		s.Meta.Note = ""
	}
	if s.Meta.Visit != nil {
		s.Meta.Visit = redactVisit(*s.Meta.Visit, vin, notes)
	}
	lines := s.Lines
	s.Lines = func(yield func(Line, error) bool) {
		for l, err := range lines {
			switch mark := l.Record.Mark; {
			case mark != nil && !notes, l.Record.Exchange != nil && !vin:
				l.Record = store.Redact(l.Record)
			case mark != nil && !vin:
				l.Record.Mark = &obd.Mark{Kind: mark.Kind, Text: withoutVIN(mark.Text)}
			}
			if !yield(l, err) {
				return
			}
		}
	}
	return s
}

// redactVisit leaves of a visit its name, car and times, and what people wrote only with notes; a
// plate is among that.
func redactVisit(v store.Visit, vin, notes bool) *store.Visit {
	v.Done = slices.Clone(v.Done)
	if !notes {
		v.Complaint, v.Order, v.Done = "", "", nil
	}
	if !vin {
		v.Each(withoutVIN)
	}
	return &v
}

// vinWord is a word that may be a VIN: 17 characters without I, O and Q (ISO 3779).
var vinWord = regexp.MustCompile(`(?i)\b[A-HJ-NPR-Z0-9]{17}\b`)

// withoutVIN takes the VINs out of a text.
func withoutVIN(text string) string {
	return vinWord.ReplaceAllStringFunc(text, func(word string) string {
		if !strings.ContainsAny(word, "0123456789") { // a long word of a language
			return word
		}
		return "[VIN]"
	})
}
