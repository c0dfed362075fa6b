package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"
	"time"

	"pushback/analysis"
	"pushback/decode"
	"pushback/obd"
)

const (
	commitEvery = 125 * time.Millisecond // a commit itself takes some, on a busy machine as much; at most 250 ms are lost
	commitAt    = 2048                   // records: a fast source need not wait for the clock
	bufferMost  = 2 * commitAt           // records: beyond it Append waits for the disk
	logMost     = 1000                   // pages in the -wal: then they are brought into the database
)

// Writer keeps the records of one session. A goroutine of its own commits, so
// that Append does not wait for the disk. Its methods may be called from any
// goroutine. It must be closed, by Finish or Close.
type Writer struct {
	s    *Store
	n    int64
	id   string
	side *Writer    // into the side file; nil: there is none
	once bool       // of an import: the same recording is stored once
	fmu  sync.Mutex // held while the disk is written; before mu

	mu      sync.Mutex
	room    sync.Cond // buf got shorter, or err was set
	buf     batch     // appended, not yet taken by the goroutine
	last    int64     // seq of the last appended record
	at      time.Duration
	err     error // sticky
	torn    bool  // the side file has not all
	closed  bool
	kick    chan struct{} // buf is long
	quit    chan struct{}
	stopped chan struct{}
	committed
}

// committed is of the goroutine, and after it has stopped of Close.
type committed struct {
	behind                    bool  // what was appended since is in the side file only
	taken                     int64 // seq of the last record that was taken from buf
	pages                     int   // about how many the -wal has that are not in the database
	spare                     batch
	insertRecord, insertValue *sql.Stmt
	signals                   map[string]int64
	content                   Content // of what is committed
	records, marks, failed    int
	onCommit                  func(seq int64) // for tests; nil
}

// Create begins a session described by m and returns what writes it. m.ID is kept
// if it is one that is free (Writer.ID tells); m.Duration, m.Finished and the pair
// are not read.
func (s *Store) Create(ctx context.Context, m Meta) (*Writer, error) {
	n, err := s.insertSession(ctx, &m, newID)
	if err != nil {
		return nil, wrap("create session", err)
	}
	w := &Writer{
		s: s, n: n, id: m.ID, last: -1,
		kick: make(chan struct{}, 1), quit: make(chan struct{}), stopped: make(chan struct{}),
		committed: committed{signals: make(map[string]int64), content: NewContent()},
	}
	w.room.L = &w.mu
	w.insertRecord, err = s.w.PrepareContext(ctx, `insert into record (session, seq, at_us, kind, request, expect, sent_us, received_us,
		outcome, raw, mark, text, names, vals) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`)
	if err != nil {
		return nil, wrap("create session", err)
	}
	// Two PIDs in one reply may carry the same signal; the first counts.
	w.insertValue, err = s.w.PrepareContext(ctx, `insert or ignore into sample (session, signal, received_us, seq, sent_us, value) values (?, ?, ?, ?, ?, ?)`)
	if err != nil {
		w.insertRecord.Close()
		return nil, wrap("create session", err)
	}
	if s.file != nil && m.Origin != "import" {
		placed, err := s.checkpoint(n, m.ID, -1) // so that the file can be told from an older copy
		if err != nil {
			return nil, wrap("create session", errors.Join(err, w.closeStatements()))
		}
		w.side, _ = s.newSide(ctx, m, placed) // without it too a recording is better than none
	}
	go w.run()
	return w, nil
}

func (w *Writer) closeStatements() error {
	return errors.Join(w.insertRecord.Close(), w.insertValue.Close())
}

// Once lets the session end only if no other holds the same recording, judged as the same sensor
// and way of forcing ask: of several that store it at once one is kept. To be called before the end.
func (w *Writer) Once() { w.once = true }

// ID returns the session's id.
func (w *Writer) ID() string { return w.id }

// Append adds a record and the samples decoded from it. It copies what it keeps,
// and returns before the record is on the disk: Close and Finish say whether all
// of it is. Records come in rising Seq; times are whole microseconds. After an
// error of the disk (ErrDiskFull, ErrLocked, …) every Append returns it.
func (w *Writer) Append(rec obd.Record, samples []decode.Sample) error {
	var row recordRow
	if err := row.from(rec); err != nil {
		return fmt.Errorf("append record %d: %w", rec.Seq, err)
	}
	if rec.Exchange != nil {
		row.raw = append([]byte{}, row.raw...) // it is written later
	}
	for _, x := range samples {
		if x.Signal == nil {
			return fmt.Errorf("append record %d: a sample without a signal", rec.Seq)
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for len(w.buf.records) >= bufferMost && w.err == nil && !w.closed {
		w.room.Wait()
	}
	switch {
	case w.err != nil:
		return w.err
	case w.closed:
		return ErrClosed
	case rec.Seq <= w.last:
		return fmt.Errorf("append record %d: it does not follow %d", rec.Seq, w.last)
	}
	if w.side != nil {
		if err := w.side.Append(rec, samples); err != nil {
			if w.torn = true; w.s.check() == copied {
				return err
			}
		}
	}
	w.last, w.at = rec.Seq, max(w.at, rec.At)
	w.buf.records = append(w.buf.records, row)
	for _, x := range samples {
		w.buf.samples = append(w.buf.samples, sampleRow{x.Signal, rec.Seq, x.Sent.Microseconds(), x.Received.Microseconds(), x.Value, x.Missing})
	}
	if len(w.buf.records) == commitAt {
		select {
		case w.kick <- struct{}{}:
		default:
		}
	}
	return nil
}

// run commits what was appended until quit is closed.
func (w *Writer) run() {
	defer close(w.stopped)
	tick := time.NewTicker(commitEvery)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-w.kick:
		case <-w.quit:
			return
		}
		if err := w.flush(); err != nil {
			w.mu.Lock()
			w.err = err
			w.room.Broadcast()
			w.mu.Unlock()
			return
		}
	}
}

// flush commits what was appended so far. If it fails, that is kept for another try: in
// memory, or where another program holds the database in the side file alone.
func (w *Writer) flush() error {
	w.fmu.Lock()
	defer w.fmu.Unlock()
	w.mu.Lock()
	if len(w.spare.records) == 0 {
		w.buf, w.spare = w.spare, w.buf
	}
	w.room.Broadcast()
	torn := w.side == nil || w.torn
	w.mu.Unlock()
	if len(w.spare.records) == 0 && !w.behind {
		return nil
	}
	if n := len(w.spare.records); n > 0 {
		w.taken = w.spare.records[n-1].seq
	}
	var err error
	if w.behind {
		err = w.catchUp()
		w.behind = err != nil
	} else if err = w.commitWhole(w.spare); err != nil {
		clear(w.signals) // some may be rolled back
		w.behind = errors.Is(kindOf(err), ErrLocked) && !torn
	}
	if err != nil && !w.behind || w.behind && !errors.Is(kindOf(err), ErrLocked) {
		return wrap("write session "+w.id, err)
	}
	w.count()
	return nil
}

// count notes what a batch came to, and lets go of it.
func (w *Writer) count() {
	if len(w.spare.records) == 0 {
		return
	}
	for i := range w.spare.records {
		r := &w.spare.records[i]
		w.content.add(r)
		w.records++
		if r.kind == "mark" {
			w.marks++
		}
		if r.kind == "exchange" && r.outcome != obd.OK.String() {
			w.failed++
		}
	}
	if w.onCommit != nil && !w.behind {
		w.onCommit(w.spare.records[len(w.spare.records)-1].seq)
	}
	clear(w.spare.records) // lets go of the raw text
	w.spare.records, w.spare.samples = w.spare.records[:0], w.spare.samples[:0]
}

// catchUp brings into the database what went into the side file while another program held
// the database.
func (w *Writer) catchUp() error {
	if w.s.check() == copied {
		return nil // nothing goes there any more
	}
	if err := w.side.flush(); err != nil {
		return err
	}
	clear(w.signals)
	return w.s.takeInFrom(context.Background(), w.id, w.side.s.path, w.taken)
}

// commitWhole commits where that can be done. What was copied over is left alone: the side
// file has the batch.
func (w *Writer) commitWhole(b batch) error {
	seq := b.records[len(b.records)-1].seq
	if w.s.check() != copied {
		err := w.commit(b)
		if err == nil {
			w.s.noteLog()
			w.pages += 8 + (len(b.records)+len(b.samples))/32
			if w.pages >= logMost {
				w.pages = 0
				_, err = w.s.checkpoint(w.n, w.id, seq)
			}
		}
		if err == nil || w.s.check() != copied {
			return err
		}
	}
	if w.side == nil {
		return ErrReplaced
	}
	return nil
}

func (w *Writer) commit(b batch) error {
	ctx := context.Background()
	tx, err := w.s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var there bool // it may have been removed while it is being written
	if err := tx.QueryRowContext(ctx, `select exists (select 1 from session where n = ?)`, w.n).Scan(&there); err != nil {
		return err
	} else if !there {
		return ErrNoSession
	}
	record, value := tx.StmtContext(ctx, w.insertRecord), tx.StmtContext(ctx, w.insertValue)
	for i := range b.records {
		r := &b.records[i]
		args := [...]any{w.n, r.seq, r.at, r.kind, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil}
		switch r.kind {
		case "exchange":
			args[4], args[5], args[6], args[7], args[8], args[9] = r.request, r.expect, r.sent, r.received, r.outcome, r.raw
		case "mark":
			args[10], args[11] = r.mark, r.text
		case "row":
			args[12], args[13] = r.names, r.vals
		}
		if _, err := record.ExecContext(ctx, args[:]...); err != nil {
			return err
		}
	}
	for i := range b.samples {
		x := &b.samples[i]
		id, err := w.signalID(ctx, tx, x.signal)
		if err != nil {
			return err
		}
		var v any
		if !x.missing {
			v = x.value
		}
		if _, err := value.ExecContext(ctx, w.n, id, x.received, x.seq, x.sent, v); err != nil {
			return err
		}
	}
	return tx.Commit()
}

func (w *Writer) signalID(ctx context.Context, tx *sql.Tx, g *decode.Signal) (id int64, err error) {
	if id, ok := w.signals[g.Name]; ok {
		return id, nil
	}
	if _, err := tx.ExecContext(ctx, `insert or ignore into signal (name, unit, what) values (?, ?, ?)`, g.Name, g.Unit, g.What); err != nil {
		return 0, err
	}
	if err := tx.QueryRowContext(ctx, `select id from signal where name = ?`, g.Name).Scan(&id); err != nil {
		return 0, err
	}
	w.signals[g.Name] = id
	return id, nil
}

// Update changes the session's description while it runs, as [Store.Edit] does.
func (w *Writer) Update(f func(*Meta)) error {
	ctx := context.Background()
	if w.side != nil {
		err := w.side.s.edit(ctx, w.side.n, f)
		if w.s.check() == copied {
			return wrap("update session "+w.id, err)
		}
		if err == nil {
			if err = w.s.edit(ctx, w.n, f); errors.Is(kindOf(err), ErrLocked) {
				return nil // it is taken in with what the side file has else
			}
			return wrap("update session "+w.id, err)
		}
	}
	return wrap("update session "+w.id, w.s.edit(ctx, w.n, f))
}

// Finish commits what is left, ends the session at the given time, keeps the
// judgement as it is printed, and closes the writer. If it fails the session
// stays unfinished, with all that could be committed, but for a [*RescuedError]: then
// it is whole, in another file. Where it is to be there once ([Writer.Once]) and is
// already, that is a [*DuplicateError], and it is to be removed.
func (w *Writer) Finish(ctx context.Context, at time.Duration, v analysis.Verdict, events []analysis.Event) error {
	j, err := JudgementOf(v, events)
	if err != nil {
		return errors.Join(wrap("finish session "+w.id, err), w.Close())
	}
	return w.FinishAs(ctx, at, j)
}

// FinishAs is Finish with a judgement as another database keeps it.
func (w *Writer) FinishAs(ctx context.Context, at time.Duration, j Judgement) error {
	return w.end(func(w *Writer) error {
		if w.s.file == nil { // the side file: the time may have gone by waiting for the database
			ctx = context.WithoutCancel(ctx)
		}
		return wrap("finish session "+w.id, w.s.judge(ctx, w.n, max(at, w.at), j))
	})
}

// Close commits what is left and leaves the session unfinished. It returns
// ErrClosed when the writer was closed before. A nil error means that all that
// Append took is on the disk; a [*RescuedError] that it is, in another file.
func (w *Writer) Close() error { return w.end(func(*Writer) error { return nil }) }

func (w *Writer) end(judge func(*Writer) error) error {
	if err := w.stop(); err != nil {
		return err
	}
	err := w.flush() // after a failure: once more, there may be room now
	if err == nil {
		err = w.flush() // what came while a failed batch was waiting
	}
	if err == nil && w.behind {
		err = ErrLocked
	}
	if err == nil && w.s.check() != copied {
		err = wrap("close session "+w.id, w.seal())
		if err == nil {
			err = judge(w)
		}
	}
	err = errors.Join(err, w.closeStatements())
	switch {
	case w.side == nil:
		return errors.Join(err, w.s.rescue())
	case w.s.check() == copied:
		return w.keep(judge)
	case errors.Is(err, ErrLocked) && !w.torn:
		return errors.Join(w.leave(judge), w.s.rescue())
	}
	return errors.Join(err, w.drop(), w.s.rescue())
}

// stop ends the goroutine, and Append.
func (w *Writer) stop() error {
	w.mu.Lock()
	if w.closed {
		w.mu.Unlock()
		return ErrClosed
	}
	w.closed = true
	w.room.Broadcast()
	w.mu.Unlock()
	close(w.quit)
	<-w.stopped
	return nil
}

// seal notes what the whole session came to, which later only the reading of all of it
// could tell.
func (w *Writer) seal() error {
	ctx := context.Background()
	tx, err := w.s.w.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if w.once {
		var id string
		err := tx.QueryRowContext(ctx, `select other.id from session other join session own on own.n = ?2
			where other.content = ?1 and other.n <> own.n and other.watching = own.watching and other.forced_by = own.forced_by
			order by other.n limit 1`, w.content.Sum(), w.n).Scan(&id)
		if err == nil {
			return &DuplicateError{id}
		} else if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, `update session set content = ?, records = ?, marks = ?, failed = ? where n = ?`,
		w.content.Sum(), w.records, w.marks, w.failed, w.n); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, `insert into tally (session, signal, readings, missing, low, mean, high)
		select session, signal, count(value), count(*) - count(value), min(value), avg(value), max(value)
		from sample where session = ? group by signal`, w.n); err != nil {
		return err
	}
	return tx.Commit()
}
