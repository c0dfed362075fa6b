package sheet

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"pushback/analysis/measure"
	"pushback/analysis/trimmap"
	"pushback/cmd/internal/term"
	"pushback/cmd/internal/words"
	"pushback/cmd/internal/words/why"
)

// Trims is the JSON of a session's trim map.
type Trims struct {
	Session   string       `json:"session"`
	Readings  int          `json:"readings"`
	Left      trimmap.Left `json:"left_out"`
	Flow      trimmap.Flow `json:"air_flow"`
	FlowUnit  string       `json:"air_flow_unit"`
	Banks     []Bank       `json:"banks"`
	Pair      *Pair        `json:"together"` // null: nothing that one bank alone does not say
	Limits    []string     `json:"limits"`
	Next      string       `json:"next"`       // "" nothing
	Breathing *Breathing   `json:"engine_air"` // null: not shown
}

// Bank is the JSON of one bank's map.
type Bank struct {
	Bank    int             `json:"bank"`
	Pattern trimmap.Pattern `json:"pattern"`
	Says    string          `json:"says"`
	Points  []string        `json:"points_to"`
	Cells   []Cell          `json:"cells"`
	Fit     *Fit            `json:"fit"` // null: too few readings
	Limits  []string        `json:"limits"`
	Idle    *Idle           `json:"idle_again"` // null: not read twice, minutes apart
	Purge   *Purge          `json:"purge"`      // null: not read with the valve open and shut
}

// Purge is the JSON of total trim at idle by commanded purge.
type Purge struct {
	Open Number `json:"open_pct"`
	Shut Number `json:"shut_pct"`
	Says string `json:"says"`
}

// Pair is the JSON of what two banks say together.
type Pair struct {
	Name   trimmap.Together `json:"pattern"`
	Bank   int              `json:"bank,omitempty"`
	Says   string           `json:"says"`
	Points []string         `json:"points_to"`
}

// Idle is the JSON of total trim at idle at the start and minutes later.
type Idle struct {
	First   Number `json:"first_pct"`
	Later   Number `json:"later_pct"`
	Minutes Number `json:"minutes"`
	Says    string `json:"says"`
}

// Cell is the JSON of one cell of a map.
type Cell struct {
	RPM     [2]Number `json:"rpm"` // from, to; null: no end
	Load    [2]Number `json:"load_pct"`
	Count   int       `json:"count"`
	Seconds Number    `json:"seconds"`
	Mean    Number    `json:"mean_pct"`
	SD      Number    `json:"sd_pct"`
	P10     Number    `json:"p10_pct"`
	P90     Number    `json:"p90_pct"`
	Thin    bool      `json:"thin"`
}

// Fit is the JSON of total trim against air flow.
type Fit struct {
	Model  trimmap.Model     `json:"model"`
	From   Number            `json:"from"` // air flow
	To     Number            `json:"to"`
	A      *trimmap.Interval `json:"a"` // null: not told apart
	B      *trimmap.Interval `json:"b"`
	C      *trimmap.Interval `json:"c"`
	AtLow  trimmap.Interval  `json:"at_low_pct"`
	AtMid  trimmap.Interval  `json:"at_mid_pct"`
	AtHigh trimmap.Interval  `json:"at_high_pct"`
	Spread Number            `json:"spread_pct"`
}

// TrimsOf is the JSON of a session's map.
func TrimsOf(id string, m trimmap.Map, b *measure.Breathing) Trims {
	return Trims{Session: id, Readings: m.Count, Left: m.Left, Flow: m.Flow, FlowUnit: m.FlowUnit,
		Banks: each(m.Banks, bankOf), Pair: pairOf(m.Pair), Limits: list(why.Texts(m.Limits)), Next: why.Text(m.Next), Breathing: breathingOf(b)}
}

func bankOf(b trimmap.Result) Bank {
	return Bank{Bank: b.Bank, Pattern: b.Pattern, Says: why.Text(b.Says), Points: list(why.Texts(b.Points)), Cells: each(b.Cells, cellOf), Fit: fitOf(b.Fit), Limits: list(why.Texts(b.Limits)), Idle: idleOf(b.Idle), Purge: purgeOf(b.Purge)}
}

func pairOf(p *trimmap.Pair) *Pair {
	if p == nil {
		return nil
	}
	return &Pair{p.Name, p.Bank, why.Text(p.Says), list(why.Texts(p.Points))}
}

func purgeOf(p *trimmap.Purge) *Purge {
	if p == nil {
		return nil
	}
	return &Purge{Number(p.Open), Number(p.Shut), why.Text(p.Says)}
}

func idleOf(i *trimmap.Idle) *Idle {
	if i == nil {
		return nil
	}
	return &Idle{Number(i.First), Number(i.Later), Number(i.Minutes), why.Text(i.Says)}
}

func fitOf(f trimmap.Fit) *Fit {
	if f.Model == trimmap.NoModel {
		return nil
	}
	j := &Fit{Model: f.Model, From: Number(f.Low), To: Number(f.High), B: &f.B,
		AtLow: f.AtLow, AtMid: f.AtMid, AtHigh: f.AtHigh, Spread: Number(f.Spread)}
	if f.Model != trimmap.LevelOnly {
		j.A = &f.A
	}
	if f.Model == trimmap.Full {
		j.C = &f.C
	}
	return j
}

func cellOf(c trimmap.Cell) Cell {
	return Cell{RPM: between(trimmap.SpeedEdges, c.Speed), Load: between(trimmap.LoadEdges, c.Load),
		Count: c.Count, Seconds: Number(c.Seconds), Mean: Number(c.Mean), SD: Number(c.SD), P10: Number(c.P10), P90: Number(c.P90), Thin: c.Thin}
}

func between(edges []float64, i int) [2]Number {
	return [2]Number{Number(edges[i]), Number(edges[i+1])}
}

// WriteTrims prints a map.
func WriteTrims(w io.Writer, m trimmap.Map, b *measure.Breathing) {
	fmt.Fprintf(w, "%d usable trim readings", m.Count)
	if l := words.LeftText(m.Left); l != "" {
		fmt.Fprintf(w, "; left out: %s", l)
	}
	fmt.Fprintln(w)
	if p := m.Pair; p != nil {
		says := why.Text(p.Says)
		fmt.Fprintln(w)
		term.Indent(w, "BOTH BANKS  ", strings.ToUpper(says[:1])+says[1:]+".")
		for _, x := range why.Texts(p.Points) {
			term.Indent(w, "  - ", x)
		}
	}
	for _, b := range m.Banks {
		says := why.Text(b.Says)
		fmt.Fprintln(w)
		term.Indent(w, fmt.Sprintf("BANK %d  ", b.Bank), strings.ToUpper(says[:1])+says[1:]+".")
		for _, p := range why.Texts(b.Points) {
			term.Indent(w, "  - ", p)
		}
		fmt.Fprintln(w)
		writeCells(w, b.Cells)
		writeFit(w, b.Fit, m.FlowUnit)
		if b.Purge != nil {
			term.Indent(w, "  purge: ", why.Text(b.Purge.Says))
		}
		if b.Idle != nil {
			term.Indent(w, "  idle: ", words.IdleText(*b.Idle))
		}
		for _, l := range why.Texts(b.Limits) {
			fmt.Fprintf(w, "  ! %s\n", l)
		}
	}
	if b != nil {
		fmt.Fprintln(w)
		term.Indent(w, "engine air: ", words.BreathingText(b))
	}
	for _, l := range why.Texts(m.Limits) {
		fmt.Fprintf(w, "! %s\n", l)
	}
	if m.Next != nil {
		fmt.Fprintln(w)
		term.Indent(w, "next: ", why.Text(m.Next))
	}
}

// writeCells prints the map: rows of speed, columns of load.
func writeCells(w io.Writer, cells []trimmap.Cell) {
	if len(cells) == 0 {
		return
	}
	fmt.Fprintln(w, "  mean total trim, % (± standard deviation, readings; * few readings)")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprint(tw, "rpm \\ load\t")
	for l := range len(trimmap.LoadEdges) - 1 {
		fmt.Fprintf(tw, "%s %%\t", words.EdgeText(trimmap.LoadEdges, l))
	}
	fmt.Fprintln(tw)
	for s := range len(trimmap.SpeedEdges) - 1 {
		row := make([]string, len(trimmap.LoadEdges)-1)
		for i := range row {
			row[i] = "–"
		}
		any := false
		for _, c := range cells {
			if c.Speed == s {
				any = true
				row[c.Load] = cellText(c)
			}
		}
		if any {
			fmt.Fprintf(tw, "%s\t%s\t\n", words.EdgeText(trimmap.SpeedEdges, s), strings.Join(row, "\t"))
		}
	}
	tw.Flush()
}

func cellText(c trimmap.Cell) string {
	sd := c.SD
	if math.IsNaN(sd) {
		sd = 0
	}
	text := fmt.Sprintf("%s ±%.1f (%d)", words.Signed(c.Mean, 1), sd, c.Count)
	if c.Thin {
		text += "*"
	}
	return text
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
	term("b", "%: constant percentage (MAF, fuel pressure)", f.B)
	if f.Model == trimmap.Full {
		term("c", "% per "+unit+": grows with airflow (fuel supply)", f.C)
	}
}
