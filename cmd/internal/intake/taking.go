package intake

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"pushback/analysis/session"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/words"
	"pushback/store"
	"pushback/store/widecsv"
)

// Taking takes in the sessions of a file.
type Taking struct {
	Said    Said
	Mapping widecsv.Mapping
	Bar     func(doing string, length time.Duration) session.Sink // shows how far it is
}

// File judges a whole file before any of it is stored. With no db nothing is, and what was understood
// of it is returned.
func (t Taking) File(ctx context.Context, db *store.Store, path string) (Content, Understood, error) {
	c, open, err := t.read(ctx, path)
	if err != nil {
		return c, Understood{}, err
	}
	if db == nil {
		return c, Understand(ctx, path, open, c.Sessions), nil
	}
	if err := Known(ctx, db, c.Sessions); err != nil {
		return c, Understood{}, err
	}
	bar := func(length time.Duration) session.Sink { return t.Bar("storing: ", length) }
	err = Store(ctx, db, open, c.Sessions, bar)
	for i := 0; err == nil && i < len(c.Visits); i++ {
		c.Visits[i], err = db.TakeVisit(ctx, c.Visits[i])
	}
	return c, Understood{}, inFile(path, err)
}

func (t Taking) read(ctx context.Context, path string) (none Content, _ Open, _ error) {
	if fi, err := os.Stat(path); err != nil {
		return none, nil, err
	} else if !fi.Mode().IsRegular() { // it is read more than once
		return none, nil, advice.On(fmt.Errorf("importing %s: it is no regular file", path), "save it as a file first")
	}
	open, err := Opener(path, t.Mapping)
	if err != nil {
		return none, nil, inFile(path, err)
	}
	c, err := Read(ctx, open, t.Said, t.Bar("", 0))
	switch {
	case err != nil:
		return none, nil, inFile(path, err)
	case len(c.Sessions)+len(c.Visits) == 0:
		return none, nil, advice.On(fmt.Errorf("importing %s: there are no sessions", path), "record one first: `pushback record`")
	case len(c.Sessions) == 1 && c.Sessions[0].Records == 0:
		return none, nil, advice.On(fmt.Errorf("importing %s: there are no rows", path), "see `pushback import --help` for what the table looks like")
	}
	return c, open, nil
}

// inFile says of which file an error is, where it is the file's.
func inFile(path string, err error) error {
	var file *fs.PathError
	if err == nil || errors.Is(err, context.Canceled) || errors.As(err, &file) {
		return err
	}
	for _, kind := range []error{store.ErrNoSession, store.ErrLocked, store.ErrReadOnly, store.ErrDiskFull, store.ErrReplaced} {
		if errors.Is(err, kind) {
			return err
		}
	}
	return advice.On(fmt.Errorf("importing %s: %w", path, err),
		"correct the file (`pushback import --help` says what it looks like); of this file nothing was stored")
}

// visited says what became of the visit that a session which was stored already came with.
func (f *Session) visited() string {
	switch {
	case f.Into != "":
		return "; now it is in visit " + words.Printable(f.Into)
	case f.Stays != "":
		return "; it stays in visit " + words.Printable(f.Stays)
	}
	return ""
}

// WriteTaken says to people what was stored of a file. The ids go to out alone, as JSON where that is
// wanted: id=$(pushback import FILE).
func WriteTaken(out, people io.Writer, asJSON bool, path string, c Content) error {
	for _, v := range c.Visits {
		fmt.Fprintf(people, "%s: visit %s, without sessions\n", path, words.Printable(v.Name))
	}
	for i := range c.Sessions {
		f := &c.Sessions[i]
		if f.Stored == "" { // twice in one file
			continue
		}
		if f.Same {
			fmt.Fprintf(people, "%s: session %s is stored already%s\n", path, f.Stored, f.visited())
		} else {
			f.Write(people, path)
		}
		if asJSON {
			line := struct {
				ID        string `json:"id"`
				Duplicate bool   `json:"duplicate,omitempty"`
			}{f.Stored, f.Same}
			if err := json.NewEncoder(out).Encode(line); err != nil {
				return err
			}
			continue
		}
		if !f.Same && len(c.Sessions) == 1 {
			fmt.Fprintf(people, "  pushback show %s      events, proofs and verdict\n", f.Stored)
		}
		if _, err := fmt.Fprintln(out, f.Stored); err != nil {
			return err
		}
	}
	return nil
}
