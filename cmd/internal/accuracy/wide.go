package accuracy

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"pushback/analysis"
	"pushback/cmd/internal/accuracy/truth"
	"pushback/obd/simcar"
)

// Measured is one figure of a wide-range sensor's ring that was told with its interval, beside the truth.
type Measured struct {
	Said, Low, High float64
	True            float64
}

// RingFigures is what was told of such a ring; nil of what was not told, or whose truth is not one number.
type RingFigures struct {
	Gain, Delay, Lag *Measured
	Slow             bool // truly, by 0.6 s and more one way at least
	SlowTold         bool
	Tried            bool // by mixture, on a sensor that shows it
}

// figuresOf reads what a verdict tells of the ring.
func figuresOf(v analysis.Verdict, w truth.Wide, transport float64) *RingFigures {
	f := &RingFigures{Slow: max(w.Tau[0], w.Tau[1]) >= 0.6, SlowTold: v.Conclusion == analysis.SensorSlow}
	for _, p := range v.Proofs {
		if p.ID != analysis.ProofScale {
			continue
		}
		read := func(name, unit string, true float64) *Measured {
			said, has := p.Evidence[name+unit]
			if !has || math.IsNaN(true) {
				return nil
			}
			return &Measured{said, p.Evidence[name+"_low"+unit], p.Evidence[name+"_high"+unit], true}
		}
		one := func(pair [2]float64) float64 { // of a sensor that is as fast one way as the other
			if math.Abs(pair[0]-pair[1]) > 0.1 {
				return math.NaN()
			}
			return (pair[0] + pair[1]) / 2
		}
		f.Gain = read("gain", "", w.Gain)
		if w.Gain > 0 { // else commanded fuel never arrives
			f.Lag = read("lag", "_s", one(w.Tau))
			f.Delay = read("delay", "_s", transport+one(w.Delay))
		}
	}
	return f
}

// ofWideTruth is the truth of a simulated car in the terms of all models.
func ofWideTruth(w *simcar.WideTruth) truth.Wide {
	return truth.Wide{Gain: w.Gain, Tau: [2]float64{w.Rich, w.Lean}, Delay: [2]float64{w.OwnRich, w.OwnLean}}
}

// UnforcedWide is Unforced with a wide-range sensor in front, which is the one that is watched, recorded as forced by mixture.
func UnforcedWide(from uint64, hours int, progress func(done int)) []Trial {
	return each(hours, progress, func(i int) Trial {
		cfg, _, _ := simcar.RandomWide(from + uint64(i))
		drive := drives[i%len(drives)]
		cfg.Forces, cfg.Drive, cfg.Busy = nil, drive.how, true
		cfg.Car.Sensor = cfg.Car.Sensor[:2] + "S1" // a draw by the rear wire watches that
		return runBy(cfg, simcar.Expected{Fault: drive.name, Conclusion: string(analysis.NothingForced), Length: time.Hour}, false, string(analysis.ByMixture))
	})
}

// shortHold is a hold that is no test and not counted as missed, as in the other models.
const shortHold = 3500 * time.Millisecond

// hidden reports whether nothing that is read can show a force: the sensor tells nothing, the air that a hose lets in is metered,
// the input does not read or is a wide-range one's, which nobody is to hold; or it is too short to be missed.
func hidden(t Trial, f simcar.ForceTruth) bool {
	if t.Wide == nil {
		switch t.Expected.Fault {
		case "input dead", "wire open, computer side", "wide-range sensor":
			return true
		}
		return f.End-f.Begin < shortHold
	}
	dead := t.Expected.Fault == "pump wire open" || t.Expected.Fault == "sensor cold"
	return dead && !f.Kind.Wire() || f.Kind == simcar.ForceVacuum && t.Wide.AirIsMetered
}

// PrintRings writes how near the told gains, delays and lags lie to the truth.
func PrintRings(w io.Writer, name string, results []Result) {
	type tally struct{ n, near, held int }
	var gain, gain3, delay, lag tally
	slow, told, of, measured := 0, 0, 0, 0
	count := func(t *tally, m *Measured, within float64) {
		if m == nil {
			return
		}
		t.n++
		if math.Abs(m.Said-m.True) <= within {
			t.near++
		}
		if m.True >= m.Low-0.0005 && m.True <= m.High+0.0005 {
			t.held++
		}
	}
	for _, r := range results {
		f := r.Ring
		if f == nil {
			continue
		}
		if f.Tried {
			of++
			if f.Gain != nil {
				measured++
			}
		}
		count(&gain, f.Gain, 0.15)
		if r.Rate >= 3 {
			count(&gain3, f.Gain, 0.15)
		}
		count(&delay, f.Delay, 0.1)
		count(&lag, f.Lag, 0.15)
		if f.Slow && f.Tried && r.Rate >= 5 {
			slow++
			if f.SlowTold {
				told++
			}
		}
	}
	if of == 0 && gain.n == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s: the ring's figures by mixture, %% (95 %% interval)\n", name)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "figure\tn\tnear the truth\tits interval holds the truth")
	for _, row := range []struct {
		what string
		t    tally
	}{{"gain, within 0.15", gain}, {"gain, at 3 readings/s and more", gain3}, {"delay, within 0.1 s", delay}, {"lag, within 0.15 s", lag}} {
		fmt.Fprintf(tw, "%s\t%d\t%s\t%s\n", row.what, row.t.n, brief(row.t.near, row.t.n), brief(row.t.held, row.t.n))
	}
	fmt.Fprintf(tw, "gain told at all\t%d\t%s\n", of, brief(measured, of))
	fmt.Fprintf(tw, "lag of 0.6 s and more told, at 5/s and more\t%d\t%s\n", slow, brief(told, slow))
	tw.Flush()
}
