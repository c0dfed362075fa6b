package sheet

import (
	"pushback/analysis"
	"pushback/analysis/dossier"
	"pushback/analysis/measure"
)

// Measures is the JSON of what a session has measured beside its verdict.
type Measures struct {
	Propane   []Propane  `json:"propane"`
	Line      *Line      `json:"propane_line"` // null: fewer than two flows
	Rest      *Rest      `json:"lean_at_idle"` // null: not lean, or no air flow
	Both      []Both     `json:"both_banks"`
	Snaps     []Snap     `json:"snap_throttle"`
	Oxygen    []Dose     `json:"catalyst_oxygen"`
	Breathing *Breathing `json:"engine_air"` // null: no pull, no air meter, or the displacement is not known
}

// Snap is the JSON of one snap of the throttle.
type Snap struct {
	T       float64 `json:"t"`
	Rate    Number  `json:"readings_per_s"`
	Shown   bool    `json:"shown"` // false: too few readings, nothing below counts
	High    Number  `json:"high_v"`
	Low     Number  `json:"low_v"`
	RiseMin Number  `json:"rise_min_s"`
	RiseMax Number  `json:"rise_max_s"`
}

// Both is the JSON of a force that reached both banks.
type Both struct {
	Side  analysis.Side    `json:"side"`
	Wire  bool             `json:"wire"`
	Apart Number           `json:"apart_s"` // between the two wires
	Banks []BankMoved      `json:"banks"`
	Says  measure.Likeness `json:"says"`
}

// BankMoved is the JSON of one bank's answer.
type BankMoved struct {
	Bank     int    `json:"bank"`
	T        Number `json:"t"`
	Before   Number `json:"total_trim_pct"`
	Moved    Number `json:"moved_pct"`
	Gain     Number `json:"gain"`
	AfterMin Number `json:"after_min_s"` // null: within its own hunting
	AfterMax Number `json:"after_max_s"`
}

// Propane is the JSON of one hold of added fuel.
type Propane struct {
	T        float64 `json:"t"`
	Litres   Number  `json:"l_min"` // null: not said
	Flow     Number  `json:"air_g_s"`
	Moved    Number  `json:"moved_pct"`
	Share    Number  `json:"fuel_pct"`
	Expected Number  `json:"expected_pct"`
	Purged   bool    `json:"purge_moved"`
}

// Line is the JSON of trim's answer to several flows.
type Line struct {
	Flows int    `json:"flows"`
	Slope Number `json:"slope"`
	Off   Number `json:"off_pct"`
}

// Rest is the JSON of a lean error at idle.
type Rest struct {
	Trim   Number `json:"total_trim_pct"`
	Flow   Number `json:"air_g_s"`
	Litres Number `json:"propane_l_min"`
}

// Dose is the JSON of the oxygen that one force has moved.
type Dose struct {
	T        float64       `json:"t"`
	Side     analysis.Side `json:"side"`
	Grams    Number        `json:"oxygen_g"`
	Passed   bool          `json:"rear_followed"`
	FromFull bool          `json:"from_full_or_empty"`
	Metered  bool          `json:"air_flow_read"`
}

// Breathing is the JSON of how an engine filled in a pull.
type Breathing struct {
	RPM     Number          `json:"rpm"`
	Metered Number          `json:"air_g_s"`
	Full    Number          `json:"full_g_s"`
	Share   Number          `json:"volumetric_efficiency"`
	Trim    Number          `json:"total_trim_pct"`
	Litres  Number          `json:"displacement_l"`
	Says    measure.Filling `json:"says"`
}

func measuresOf(d *dossier.Dossier) Measures {
	m := Measures{Propane: each(d.Measured.Propane, propaneOf), Oxygen: each(d.Measured.Oxygen, doseOf), Both: each(d.Measured.Both, bothOf), Snaps: each(d.Measured.Snaps, snapOf), Breathing: breathingOf(d.Measured.Breathing(0))}
	if l := d.Measured.Line; l != nil {
		m.Line = &Line{l.Flows, Number(l.Slope), Number(l.Off)}
	}
	if r := d.Measured.Rest; r != nil {
		m.Rest = &Rest{Number(r.Trim), Number(r.Flow), Number(r.Litres)}
	}
	return m
}

func propaneOf(p measure.Propane) Propane {
	j := Propane{p.At, Number(p.Litres), Number(p.Flow), Number(p.Moved), Number(p.Share), Number(p.Expected), p.Purged}
	if p.Litres == 0 {
		j.Litres = j.Expected // not known either
	}
	return j
}

func snapOf(s measure.Snap) Snap {
	return Snap{s.At, Number(s.Rate), s.Shown, Number(s.High), Number(s.Low), Number(s.RiseMin), Number(s.RiseMax)}
}

func bothOf(b measure.Both) Both {
	j := Both{Side: analysis.Lean, Wire: b.Wire, Apart: Number(b.Apart()), Says: b.Says}
	if b.Rich {
		j.Side = analysis.Rich
	}
	for _, m := range b.Banks {
		j.Banks = append(j.Banks, BankMoved{m.Bank, Number(m.Held), Number(m.Before), Number(m.Moved), Number(m.Gain), Number(m.AfterMin), Number(m.AfterMax)})
	}
	return j
}

func doseOf(o analysis.Dose) Dose {
	return Dose{o.At, o.Side, Number(o.Grams), o.Passed, o.FromFull, o.Metered}
}

func breathingOf(b *measure.Breathing) *Breathing {
	if b == nil {
		return nil
	}
	return &Breathing{Number(b.RPM), Number(b.Metered), Number(b.Full), Number(b.Share), Number(b.Trim), Number(b.Litres), b.Says}
}
