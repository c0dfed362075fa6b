package accuracy

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"pushback/analysis/session"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/cmd/internal/words/why"
	"pushback/obd"
)

// A Recording draws one recording by seed, with what is known of it.
type Recording func(seed uint64) (*truth.Test, []obd.Record)

// Show prints one trial of the model: truth, what was said and seen in order of time, the verdict and
// all that was weighed; drive: the hour of that seed. A model that is held out, or none of recordings, is an error.
func (m Model) Show(w io.Writer, seed uint64, drive bool) error {
	draw := m.Draw
	if drive {
		draw = m.DrawDrive
	}
	switch {
	case m.HeldOut:
		return fmt.Errorf("show a trial of %q: it is held out, so that its figures stay honest", m.Name)
	case draw == nil:
		return fmt.Errorf("show a trial of %q: it yields no recordings", m.Name)
	}
	t, list := draw(seed)
	setup, err := session.NewSetup(t.Sensor, t.By, obd.Format{})
	if err != nil {
		return err
	}
	j := session.NewJudge(setup)
	res, err := session.Run(context.Background(), &records{list: list}, j)
	if err != nil {
		return err
	}
	var r Result
	r.compare(t, res)
	fmt.Fprintf(w, "%s, %s, %.1f readings/s: said %s, %s; accepted: %v, undecided: %v\n", t.Fault, t.Style, t.Rate, r.Said, r.Outcome, t.Accepted, t.Undecided)
	for _, f := range t.Forces {
		fmt.Fprintf(w, "truth: %s %.2f to %.2f s, faint: %v, commanded after %.2f s, told after %.2f s\n", f.Side, f.Begin, f.End, f.Faint, f.Commanded, f.Told)
	}
	for _, x := range list {
		if x.Mark != nil {
			fmt.Fprintf(w, "said: %s at %.2f s\n", x.Mark.Kind, x.At.Seconds())
		}
	}
	for _, e := range res.Events {
		line, err := json.Marshal(why.Event(e))
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s\n", line)
	}
	for _, p := range res.Verdict.Proofs {
		mark := ""
		if t.IsFalse(string(p.ID), string(p.State)) {
			mark = " FALSE"
		}
		fmt.Fprintf(w, "%-12s %-9s %s%s\n", p.ID, p.State, why.Text(p.Why), mark)
	}
	fmt.Fprintln(w, strings.Join(why.Texts(j.Reasons()), "\n"))
	return nil
}
