// Package rawcapture writes a stored session as the raw dialogue with the adapter, in
// the text that obd/capture describes, and reads such a text. A capture made while a
// session was recorded holds more: the start-up, and when each byte came.
package rawcapture

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"time"

	"pushback/obd"
	"pushback/obd/capture"
	"pushback/store"
	"pushback/store/transfer"
)

// Format is the capture.
var Format = transfer.Format{
	Name: "capture", Extension: ".txt", About: "the raw dialogue with the adapter as text; loses nothing",
	Single: true,
	Write: func(ctx context.Context, w io.Writer, sessions iter.Seq2[transfer.Session, error]) error {
		for s, err := range sessions {
			if err != nil {
				return err
			}
			return Write(ctx, w, s)
		}
		return store.ErrNoSession
	},
	Is:   func(head []byte) bool { return bytes.HasPrefix(head, []byte("pushback capture ")) },
	Open: open,
}

// Write writes a session. It fails for one that was a table: there was no dialogue.
func Write(ctx context.Context, w io.Writer, s transfer.Session) error {
	out := bufio.NewWriter(w)
	about, err := transfer.Describe(s.Meta)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "pushback capture 1\n# %s\n%s%s\n", s.Meta.Started.UTC().Format(time.RFC3339), capture.SessionComment, about)
	line := func(at time.Duration, sign byte, text string) {
		fmt.Fprintf(out, "%.9f %c %s\n", at.Seconds(), sign, text)
	}
	line(0, '=', capture.FormatText(s.Meta.Format))
	for l, err := range s.Lines {
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
		switch rec := l.Record; {
		case rec.Row != nil:
			return errors.New("it was imported from a table: there was no dialogue")
		case rec.Mark != nil:
			text := string(rec.Mark.Kind)
			if rec.Mark.Text != "" {
				text += fmt.Sprintf(" %q", rec.Mark.Text)
			}
			line(rec.At, '!', text)
		default:
			x := rec.Exchange
			request := x.Request.Hex()
			if x.Request.Expect > 0 && x.Request.Expect < 16 {
				request += fmt.Sprintf("%X", x.Request.Expect)
			}
			line(rec.Sent, '>', fmt.Sprintf("%q", request))
			line(rec.Sent, '>', `"\r"`) // apart, so that no echo is looked for in the reply
			switch x.Outcome {
			case obd.TimedOut, obd.LinkLost:
				if len(x.Raw) > 0 {
					line(rec.At, '<', fmt.Sprintf("%q", x.Raw))
				}
				if x.Outcome == obd.LinkLost {
					line(rec.At, 'x', `"the line to the adapter was gone"`)
				} else {
					line(rec.At, '>', `"AT\r"`) // what ends the waiting
				}
			default:
				line(rec.At, '<', fmt.Sprintf("%q", append(append([]byte{}, x.Raw...), '>')))
			}
		}
	}
	return out.Flush()
}

// reader is a capture as the one session of its file.
type reader struct {
	*capture.Reader
	file io.Closer
	meta store.Meta
	told bool
}

func open(_ context.Context, path string) (transfer.Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	var r *capture.Reader
	if err == nil {
		r, err = capture.NewReader(f)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	m := store.Meta{Started: info.ModTime(), Finished: true}
	if about := r.Description(); about != "" {
		if m, err = transfer.Described(about); err != nil {
			return nil, errors.Join(err, f.Close())
		}
	}
	m.Format = r.Format()
	return &reader{Reader: r, file: f, meta: m}, nil
}

// Session describes the capture the first time, and returns io.EOF then.
func (r *reader) Session(context.Context) (store.Meta, error) {
	if r.told {
		return store.Meta{}, io.EOF
	}
	r.told = true
	return r.meta, nil
}

// Close closes the file.
func (r *reader) Close() error { return r.file.Close() }
