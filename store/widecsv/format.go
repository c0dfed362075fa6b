package widecsv

import (
	"bytes"
	"context"
	"errors"
	"io"
	"iter"
	"os"

	"pushback/store"
	"pushback/store/transfer"
)

// Format is the wide table: what a spreadsheet wants. It holds values and marks and no
// more: what the adapter printed, when a request was sent, what did not come, and
// trouble codes are not in it. What it holds comes back: read and written again it is the
// same, byte for byte, and leads to the same events.
var Format = transfer.Format{
	Name: "csv", Extension: ".csv", About: "a column a signal, for spreadsheets; values and marks only",
	Single: true,
	Write: func(ctx context.Context, w io.Writer, sessions iter.Seq2[transfer.Session, error]) error {
		for s, err := range sessions {
			if err != nil {
				return err
			}
			return Write(w, s.Lines)
		}
		return store.ErrNoSession
	},
	// Any text may be one; it comes last among the formats.
	Is:   func(head []byte) bool { return bytes.IndexByte(head, 0) < 0 || utf16Order(head) != nil },
	Open: func(_ context.Context, path string) (transfer.Reader, error) { return Open(path, Mapping{}) },
}

// File is a table that is read as the one session of its file.
type File struct {
	*Reader
	file *os.File
	meta store.Meta
	told bool
}

// Open opens the table at path, whose columns are named as m says. The session began,
// as far as the file tells, when it was last changed.
func Open(path string, m Mapping) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	var r *Reader
	if err == nil {
		r, err = NewMapped(f, m)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return &File{Reader: r, file: f, meta: store.Meta{Started: info.ModTime()}}, nil
}

// Session describes the table the first time, and returns io.EOF then.
func (f *File) Session(context.Context) (store.Meta, error) {
	if f.told {
		return store.Meta{}, io.EOF
	}
	f.told = true
	return f.meta, nil
}

// Close closes the file.
func (f *File) Close() error { return f.file.Close() }
