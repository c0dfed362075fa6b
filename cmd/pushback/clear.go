package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"pushback/analysis"
	"pushback/analysis/session"
	"pushback/obd"
	"pushback/obd/poll"
	"pushback/store"
)

func newClear(a *app) *cobra.Command {
	var f carFlags
	var note string
	cmd := &cobra.Command{
		Use:   "clear --port PORT",
		Short: "Clear trouble codes, after a warning and a typed yes",
		Long: `Reads codes, freeze frame, monitors and the computer's own tests, stores them as a
session, and then asks. Clearing also erases the freeze frame, the readiness of all
monitors and what the computer has learned about this engine, so it is for after the
repair. The engine must stand, the ignition be on.`,
		Args: args(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			bus, err := f.check(cmd)
			if err != nil {
				return err
			}
			return a.clear(cmd.Context(), visit{car: f, bus: bus, clock: obd.SystemClock{}, open: f.open}, "live", note)
		},
	}
	f.add(cmd)
	cmd.Flags().StringVar(&note, "note", "", "note on the session: `TEXT`")
	return cmd
}

var errNotCleared = errors.New("nothing was cleared")

func (a *app) clear(ctx context.Context, r visit, origin, note string) error {
	db, err := store.Open(ctx, a.db)
	if err != nil {
		return err
	}
	defer db.Close()
	wire := line{open: r.open}
	if _, err := wire.reopen(ctx); err != nil {
		return err
	}
	adapter := obd.NewAdapter(wire.link, r.clock, obd.AdapterOptions{Trying: a.trying()})
	defer wire.close(adapter)
	p, err := poll.Open(ctx, adapter, r.clock, poll.Config{Sensor: r.car.sensor, Bus: r.bus})
	if err != nil {
		return err
	}
	car := p.Vehicle()
	meta := store.Meta{Started: time.Now(), Format: car.Format, Adapter: car.Identity.Text,
		Sensors: sensorNames(car.Decoder), Watching: r.car.sensor, By: string(analysis.ByWire), Origin: origin,
		Label: "clearing of codes", Note: note, Version: versionText()}
	w, err := db.Create(ctx, meta)
	if err != nil {
		return err
	}
	defer w.Close()
	setup, err := setupOf(meta)
	if err != nil {
		return err
	}
	judge := session.NewJudge(setup)
	found, inquiry := session.NewFindings(judge), session.NewOneTimeQueries(p, judge)
	look := newSurvey(r.car.sensor, inquiry.Done, p.Stop)
	src := &clearing{Poller: p, adapter: adapter, clock: r.clock}
	src.decide = func() error {
		src.before = findingsOf(found)
		return a.decide(w.ID(), src.before, look)
	}
	res, err := session.Run(ctx, src, judge, stored{w}, found, inquiry, look)
	if ferr := w.Finish(context.WithoutCancel(ctx), res.End, res.Verdict, res.Events); ferr != nil && err == nil {
		err = ferr
	}
	if err == nil && src.cleared == nil {
		err = src.refused
	}
	if err != nil {
		if errors.Is(err, obd.ErrEngineRuns) {
			return notReady(err.Error(), "switch the engine off and the ignition on, then try again")
		}
		return err
	}
	after := findingsOf(found)
	if a.json {
		return errors.Join(json.NewEncoder(a.out).Encode(clearJSON{w.ID(), src.cleared.Outcome == obd.OK, src.before, after}), src.answer())
	}
	if err := src.answer(); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "cleared; what was there before is in session %s\n", w.ID())
	after.print(a.out)
	fmt.Fprintln(a.out, "Drive until the monitors are complete again; only then do missing codes say anything.")
	return nil
}

type clearJSON struct {
	Session string       `json:"session"`
	Cleared bool         `json:"cleared"`
	Before  clearedState `json:"before"`
	After   clearedState `json:"after"`
}

// clearedState is what clearing takes away.
type clearedState struct {
	Codes    []codeReport  `json:"codes"`
	Freeze   *freezeJSON   `json:"freeze_frame"`
	Monitors *monitorsJSON `json:"monitors"`
}

func findingsOf(f *session.Findings) clearedState {
	return clearedState{codesOf(f), freezeOf(f.Freeze), monitorsOf(f)}
}

func (s clearedState) print(w io.Writer) {
	if len(s.Codes) == 0 {
		fmt.Fprintf(w, "%-12s none\n", "codes")
	}
	for _, c := range s.Codes {
		fmt.Fprintf(w, "%-12s %s\n", "code", codeText(c))
	}
	writeFreeze(w, s.Freeze)
	if s.Monitors != nil {
		fmt.Fprintf(w, "%-12s %s\n", "monitors", s.Monitors.text())
	}
}

// decide shows what is there and asks; an error is a no.
func (a *app) decide(id string, now clearedState, look *survey) error {
	if rpm, known := look.last["RPM"]; known && rpm > 0 {
		return fmt.Errorf("clear codes: %.0f rpm: %w", rpm, obd.ErrEngineRuns)
	}
	w := a.people()
	now.print(w)
	fmt.Fprintf(w, `
This erases, in all computers that answer:
  - the codes above, and the freeze frame: the only trace of when they were set (kept in session %s)
  - the monitors' results: the car is 'not ready' for an inspection until it was driven long enough
  - learned fuel trims and other adaptation: it may idle badly at first
Permanent codes stay until the computer itself finds them gone.
Type yes to clear: `, id)
	text, err := bufio.NewReader(a.in).ReadString('\n')
	if err != nil && text == "" {
		fmt.Fprintln(w)
	}
	if strings.TrimSpace(text) != "yes" {
		return hinted{errNotCleared, "only a typed yes clears; what was read is kept", statusFailed}
	}
	return nil
}

// clearing is a source: what the poller reads until it was stopped, then, with the
// technician's yes, the clearing and what is there after it.
type clearing struct {
	*poll.Poller
	adapter *obd.Adapter
	clock   obd.Clock
	decide  func() error

	seq     int64
	at      time.Duration
	before  clearedState
	refused error
	cleared *obd.Exchange
	rest    []obd.Request
	done    bool // the poller is
}

// settleAfter is how long a computer may need to come back after it has cleared
// (common practice, no source).
const settleAfter = 2 * time.Second

func (c *clearing) Next(ctx context.Context) (obd.Record, error) {
	if !c.done {
		rec, err := c.Poller.Next(ctx)
		if !errors.Is(err, io.EOF) {
			if err == nil {
				c.seq, c.at = rec.Seq, rec.At
			}
			return rec, err
		}
		c.done = true
		if c.refused = c.decide(); c.refused != nil {
			return obd.Record{}, io.EOF
		}
		x, err := c.adapter.ClearCodes(ctx)
		if errors.Is(err, obd.ErrEngineRuns) {
			c.refused = err
			return obd.Record{}, io.EOF
		} else if err != nil {
			return obd.Record{}, err
		}
		c.cleared = &x
		c.rest = []obd.Request{{Service: 0x03}, {Service: 0x07}, {Service: 0x01, Data: []byte{0x01}}}
		return c.record(&x), nil
	}
	if len(c.rest) == 0 || c.cleared == nil {
		return obd.Record{}, io.EOF
	}
	if len(c.rest) == 3 {
		if err := c.clock.Sleep(ctx, settleAfter); err != nil {
			return obd.Record{}, err
		}
	}
	x, err := c.adapter.Exchange(ctx, c.rest[0])
	c.rest = c.rest[1:]
	if err != nil {
		return obd.Record{}, err
	}
	return c.record(&x), nil
}

func (c *clearing) record(x *obd.Exchange) obd.Record {
	c.seq++
	c.at = max(c.at, x.Received)
	return obd.Record{Seq: c.seq, At: c.at, Exchange: x}
}

// answer is an error unless the car said that it has cleared.
func (c *clearing) answer() error {
	if c.cleared.Outcome == obd.OK {
		return nil
	}
	return hinted{fmt.Errorf("the car did not clear: %s", c.cleared.Outcome),
		"ignition on and engine off? Some computers need that, and some seconds, before they clear", statusFailed}
}
