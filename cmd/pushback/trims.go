package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"pushback/analysis/trimmap"
	"pushback/store"
)

func newTrims(a *app) *cobra.Command {
	var litres float64
	cmd := &cobra.Command{
		Use:   "trims SESSION",
		Short: "Fuel trim by speed and load, and the pattern it makes",
		Long: `Shows total trim (short-term plus long-term; plus adds fuel) by engine speed and load,
and how it changes with air flow: a/airflow + b + c·airflow, where a is air or fuel that
comes in constant amount, b an error of scale, c a supply that runs out. Then the pattern in
words, what it points to, and which condition to drive next.

Readings count in closed loop, warm, steady, and while nobody forces. Air flow is from
the air meter, or computed from manifold pressure, speed and intake temperature.`,
		Args: named("SESSION"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !(litres >= 0 && litres <= 20) {
				return usagef(cmd, "a displacement of %v litres is not possible", litres)
			}
			return a.withStore(cmd, func(db *store.Store) error {
				e, err := gather(cmd.Context(), db, args[0])
				if err != nil {
					return err
				}
				m := trimmap.Build(e.trims.Data(e.forced, litres))
				if a.json {
					return json.NewEncoder(a.out).Encode(trimsOf(e.meta.ID, m))
				}
				fmt.Fprintf(a.out, "session %s, %s\n", e.meta.ID, day(e.meta.Started))
				writeTrims(a.out, m)
				return nil
			})
		},
	}
	cmd.Flags().Float64Var(&litres, "displacement", 0, "the engine's displacement in `LITRES`, for air flow from pressure")
	return cmd
}

func writeTrims(w io.Writer, m trimmap.Map) {
	fmt.Fprintf(w, "%d readings of trim count", len(m.Readings))
	if l := leftText(m.Left); l != "" {
		fmt.Fprintf(w, "; left out: %s", l)
	}
	fmt.Fprintln(w)
	for _, b := range m.Banks {
		fmt.Fprintf(w, "\nBANK %d  %s\n", b.Bank, strings.ToUpper(b.Says[:1])+b.Says[1:]+".")
		for _, p := range b.Points {
			fmt.Fprintf(w, "  - %s\n", p)
		}
		fmt.Fprintln(w)
		writeCells(w, b.Cells)
		writeFit(w, b.Fit, m.FlowUnit)
		for _, l := range b.Limits {
			fmt.Fprintf(w, "  ! %s\n", l)
		}
	}
	for _, l := range m.Limits {
		fmt.Fprintf(w, "! %s\n", l)
	}
	if m.Next != "" {
		fmt.Fprintf(w, "\nnext: %s\n", m.Next)
	}
}

// writeCells prints the map: rows of speed, columns of load.
func writeCells(w io.Writer, cells []trimmap.Cell) {
	if len(cells) == 0 {
		return
	}
	fmt.Fprintln(w, "  mean total trim, % (± standard deviation, readings; * few)")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "rpm \\ load\t")
	for l := range len(trimmap.LoadEdges) - 1 {
		fmt.Fprintf(tw, "%s %%\t", edge(trimmap.LoadEdges, l))
	}
	fmt.Fprintln(tw)
	for s := range len(trimmap.SpeedEdges) - 1 {
		row := make([]string, len(trimmap.LoadEdges)-1)
		any := false
		for _, c := range cells {
			if c.Speed == s {
				any = true
				row[c.Load] = fmt.Sprintf("%+.1f ±%.1f (%d)", c.Mean, zeroIfNaN(c.SD), c.Count)
				if c.Thin {
					row[c.Load] += "*"
				}
			}
		}
		if any {
			fmt.Fprintf(tw, "%s\t%s\t\n", edge(trimmap.SpeedEdges, s), strings.Join(row, "\t"))
		}
	}
	tw.Flush()
}

func zeroIfNaN(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

func edge(edges []float64, i int) string {
	if math.IsInf(edges[i+1], 1) {
		return fmt.Sprintf("%.0f+", edges[i])
	}
	return fmt.Sprintf("%.0f-%.0f", edges[i], edges[i+1])
}

func writeFit(w io.Writer, f trimmap.Fit, unit string) {
	if f.Model == trimmap.NoModel {
		return
	}
	fmt.Fprintf(w, "  fit over %.3g to %.3g %s (95 %% intervals, for this recording):\n", f.Low, f.High, unit)
	term := func(name, what string, i trimmap.Interval) {
		fmt.Fprintf(w, "    %s %+.3g (%+.3g to %+.3g)  %s\n", name, i.Value, i.Lo, i.Hi, what)
	}
	if f.Model != trimmap.LevelOnly {
		what := fmt.Sprintf("%% · %s: constant amount", unit)
		if unit == "g/s" && f.A.Sign() > 0 && f.A.Value/f.Low > 3 {
			what += fmt.Sprintf(", as if %.2g g/s of air were not metered", f.A.Value/100)
		}
		term("a", what, f.A)
	}
	term("b", "%: scale", f.B)
	if f.Model == trimmap.Full {
		term("c", "% per "+unit+": supply", f.C)
	}
}

func leftText(l trimmap.Left) string {
	var out []string
	for _, k := range []struct {
		n    int
		what string
	}{{l.OpenLoop, "open loop"}, {l.Cold, "cold"}, {l.Forced, "forced"}, {l.Stopped, "engine not running"}, {l.Unsteady, "not steady"}, {l.Unknown, "speed not read"}} {
		if k.n > 0 {
			out = append(out, fmt.Sprintf("%d %s", k.n, k.what))
		}
	}
	return strings.Join(out, ", ")
}

type trimsJSON struct {
	Session  string       `json:"session"`
	Readings int          `json:"readings"`
	Left     trimmap.Left `json:"left_out"`
	Flow     trimmap.Flow `json:"air_flow"`
	FlowUnit string       `json:"air_flow_unit"`
	Banks    []bankJSON   `json:"banks"`
	Limits   []string     `json:"limits"`
	Next     string       `json:"next"` // "" nothing
}

type bankJSON struct {
	Bank    int             `json:"bank"`
	Pattern trimmap.Pattern `json:"pattern"`
	Says    string          `json:"says"`
	Points  []string        `json:"points_to"`
	Cells   []cellJSON      `json:"cells"`
	Fit     *fitJSON        `json:"fit"` // null: too few readings
	Limits  []string        `json:"limits"`
}

type cellJSON struct {
	RPM     [2]number `json:"rpm"` // from, to; null: no end
	Load    [2]number `json:"load_pct"`
	Count   int       `json:"count"`
	Seconds number    `json:"seconds"`
	Mean    number    `json:"mean_pct"`
	SD      number    `json:"sd_pct"`
	P10     number    `json:"p10_pct"`
	P90     number    `json:"p90_pct"`
	Thin    bool      `json:"thin"`
}

type fitJSON struct {
	Model  trimmap.Model     `json:"model"`
	From   number            `json:"from"` // air flow
	To     number            `json:"to"`
	A      *trimmap.Interval `json:"a"` // null: not told apart
	B      *trimmap.Interval `json:"b"`
	C      *trimmap.Interval `json:"c"`
	AtLow  trimmap.Interval  `json:"at_low_pct"`
	AtMid  trimmap.Interval  `json:"at_mid_pct"`
	AtHigh trimmap.Interval  `json:"at_high_pct"`
	Spread number            `json:"spread_pct"`
}

func trimsOf(id string, m trimmap.Map) trimsJSON {
	j := trimsJSON{Session: id, Readings: len(m.Readings), Left: m.Left, Flow: m.Flow, FlowUnit: m.FlowUnit,
		Banks: []bankJSON{}, Limits: some(m.Limits), Next: m.Next}
	for _, b := range m.Banks {
		k := bankJSON{Bank: b.Bank, Pattern: b.Pattern, Says: b.Says, Points: some(b.Points), Cells: []cellJSON{}, Limits: some(b.Limits)}
		for _, c := range b.Cells {
			k.Cells = append(k.Cells, cellOf(c))
		}
		if f := b.Fit; f.Model != trimmap.NoModel {
			k.Fit = &fitJSON{Model: f.Model, From: number(f.Low), To: number(f.High), B: &f.B,
				AtLow: f.AtLow, AtMid: f.AtMid, AtHigh: f.AtHigh, Spread: number(f.Spread)}
			if f.Model != trimmap.LevelOnly {
				k.Fit.A = &f.A
			}
			if f.Model == trimmap.Full {
				k.Fit.C = &f.C
			}
		}
		j.Banks = append(j.Banks, k)
	}
	return j
}

func cellOf(c trimmap.Cell) cellJSON {
	s, l := trimmap.SpeedEdges, trimmap.LoadEdges
	return cellJSON{RPM: [2]number{number(s[c.Speed]), number(s[c.Speed+1])}, Load: [2]number{number(l[c.Load]), number(l[c.Load+1])},
		Count: c.Count, Seconds: number(c.Seconds), Mean: number(c.Mean), SD: number(c.SD), P10: number(c.P10), P90: number(c.P90), Thin: c.Thin}
}
