package widecsv

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"pushback/decode"
)

// Mapping says how a table made by another program is to be understood. The zero value
// is the table of this package's own.
type Mapping struct {
	Columns []Column
	Skip    int // lines above the header
}

// Column says what a column of another program's table holds.
type Column struct {
	Name   string // as the table has it
	Signal string // the standard's short name, or t_s, or mark
	Unit   string // of the table's numbers; "": that in brackets after the name, or the standard's
}

// ParseColumn reads a column's mapping, "their name=O2S11:mV".
func ParseColumn(s string) (Column, error) {
	i := strings.LastIndexByte(s, '=')
	if i <= 0 {
		return Column{}, fmt.Errorf("%q is not like 'their name=O2S11' or 'their name=O2S11:mV'", s)
	}
	c := Column{Name: strings.TrimSpace(s[:i])}
	c.Signal, c.Unit, _ = strings.Cut(strings.TrimSpace(s[i+1:]), ":")
	if c.Signal != timeColumn && c.Signal != markColumn && decode.ByName(c.Signal) == nil {
		return c, &UnknownColumnsError{[]string{c.Signal}, []string{nearest(c.Signal)}}
	}
	_, err := c.conversion(c.Unit)
	return c, err
}

// conversion is (v − zero) · num / den, so that what is round in both units comes out
// round; or it is a wall clock's time.
type conversion struct {
	zero, num, den float64
	clock          bool
}

func (k conversion) of(v float64) float64 { return (v - k.zero) * k.num / k.den }

var plain = conversion{num: 1, den: 1}

func ratio(num, den float64) conversion { return conversion{num: num, den: den} }

// units holds, by the unit of a signal, the others that a table may have. The factors
// are exact by definition: inch 25.4 mm, pound 0.45359237 kg, standard gravity
// 9.80665 m/s², mercury 13,595.1 kg/m³ (ISO 80000-4, conventional).
var units = map[string]map[string]conversion{
	"V":    {"mV": ratio(1, 1000)},
	"%":    {"1": ratio(100, 1)},
	"1":    {"%": ratio(1, 100)},
	"°C":   {"°F": {32, 5, 9, false}, "F": {32, 5, 9, false}, "C": plain, "K": {273.15, 1, 1, false}},
	"kPa":  {"Pa": ratio(1, 1000), "hPa": ratio(1, 10), "mbar": ratio(1, 10), "bar": ratio(100, 1), "psi": ratio(6.894757293168361, 1), "inHg": ratio(3.38638815789, 1), "mmHg": ratio(0.133322387415, 1)},
	"g/s":  {"kg/h": ratio(10, 36), "lb/min": ratio(453.59237, 60)},
	"km/h": {"mph": ratio(1.609344, 1), "mi/h": ratio(1.609344, 1), "m/s": ratio(36, 10)},
	"km":   {"mi": ratio(1.609344, 1), "miles": ratio(1.609344, 1)},
	"mA":   {"A": ratio(1000, 1)},
	"rpm":  {"1/min": plain},
	"s":    {"ms": ratio(1, 1000), "us": ratio(1, 1_000_000), "min": ratio(60, 1), "h": ratio(3600, 1)},
	"L/h":  {"gal/h": ratio(3.785411784, 1)},
}

func (c Column) conversion(unit string) (conversion, error) {
	own := "s" // of t_s
	if s := decode.ByName(c.Signal); s != nil {
		own = s.Unit
	}
	switch {
	case unit == "" || unit == own:
		return plain, nil
	case c.Signal == timeColumn && unit == "clock":
		return conversion{num: 1, den: 1, clock: true}, nil
	case c.Signal == markColumn:
		return plain, errors.New("marks have no unit")
	}
	if k, ok := units[own][unit]; ok {
		return k, nil
	}
	var known []string
	for u := range units[own] {
		known = append(known, u)
	}
	if c.Signal == timeColumn {
		known = append(known, "clock")
	}
	slices.Sort(known)
	return plain, fmt.Errorf("%s is in %s; its unit may also be one of %v, not %.20q", c.Signal, own, known, unit)
}

// bracketed returns the unit in brackets at the end of a column's name, "" if none.
func bracketed(name string) string {
	for _, b := range []string{"()", "[]"} {
		if i := strings.LastIndexByte(name, b[0]); i > 0 && strings.HasSuffix(name, b[1:]) {
			return strings.TrimSpace(name[i+1 : len(name)-1])
		}
	}
	return ""
}

// Understood is what a reader makes of a column.
type Understood struct {
	Name   string // as the table has it
	Signal string // "": the column is left aside
	Unit   string // of the table's numbers
	To     string // the standard's unit
	Guess  string // of a column that is left aside: the signal that its name is like
}

// Understood tells of all columns of the table, in its order.
func (t *Reader) Understood() []Understood {
	var list []Understood
	for _, c := range t.columns {
		u := Understood{Name: c.title, Signal: c.name, Unit: c.unit}
		switch {
		case c.signal != nil:
			u.To = c.signal.Unit
		case c.name == timeColumn:
			u.To = "s"
		case c.name == "":
			u.Guess = nearest(c.title)
		}
		if u.Unit == "" {
			u.Unit = u.To
		}
		list = append(list, u)
	}
	return list
}

// assign finds what the header's cells mean by the mapping.
func (t *Reader) assign() error {
	used := make([]bool, len(t.mapping.Columns))
	for i, title := range t.cells {
		c := column{title: title, conv: plain}
		k := slices.IndexFunc(t.mapping.Columns, func(m Column) bool { return m.Name == title })
		if k < 0 {
			k = slices.IndexFunc(t.mapping.Columns, func(m Column) bool { return strings.EqualFold(m.Name, title) })
		}
		switch {
		case k >= 0 && used[k]:
			return &Error{t.line, i + 1, title, errors.New("a second column of this name")}
		case k >= 0:
			m := t.mapping.Columns[k]
			used[k] = true
			c.name, c.unit = m.Signal, m.Unit
			if b := bracketed(title); c.unit == "" && b != "" {
				if _, err := m.conversion(b); err == nil {
					c.unit = b
				}
			}
			var err error
			if c.conv, err = m.conversion(c.unit); err != nil {
				return &Error{t.line, i + 1, title, err}
			}
		case title == timeColumn, title == markColumn, decode.ByName(title) != nil:
			c.name = title
		}
		c.signal = decode.ByName(c.name)
		if c.name != "" && slices.ContainsFunc(t.columns, func(o column) bool { return o.name == c.name }) {
			return &Error{t.line, i + 1, title, fmt.Errorf("a second column for %s", c.name)}
		}
		t.columns = append(t.columns, c)
	}
	for k, m := range t.mapping.Columns {
		if !used[k] {
			return &Error{t.line, 0, "", fmt.Errorf("no column %q; there are %.500q", m.Name, t.cells)}
		}
	}
	return nil
}

// absent are words for a value that is not there, in tables of others.
var absent = []string{"-", "--", "---", "n/a", "na", "nan", "null", "none", "no data"}

// loops are the standard's abbreviations of the fuel system status, as others may
// write them in place of the byte (SAE J1979, PID 03; from memory).
var loops = map[string]float64{"ol": 1, "cl": 2, "ol-drive": 4, "ol-fault": 8, "cl-fault": 16}

// foreign makes a number of a mapped column's cell. there is false for an empty one.
func (t *Reader) foreign(c column, cell string) (v float64, there bool, err error) {
	low := strings.ToLower(cell)
	if slices.Contains(absent, low) {
		return 0, false, nil
	}
	if c.signal != nil && strings.HasPrefix(c.name, "FUELSYS") {
		if v, ok := loops[low]; ok {
			return v, true, nil
		}
	}
	v, err = t.number(cell)
	return c.conv.of(v), true, err
}

var clocks = []string{time.RFC3339Nano, "2006-01-02 15:04:05", "2006-01-02T15:04:05", "2006/01/02 15:04:05", "02.01.2006 15:04:05", "15:04:05", "15:04"}

// clock reads a time of day, with or without a date, as seconds since the first row.
func (t *Reader) clock(cell string) (float64, error) {
	for _, layout := range clocks {
		at, err := time.Parse(layout, strings.Replace(cell, ",", ".", 1))
		if err != nil {
			continue
		}
		if t.start.IsZero() {
			t.start = at
		}
		d := at.Sub(t.start)
		if !strings.Contains(layout, "2006") {
			for d < t.last-12*time.Hour { // past midnight
				d += 24 * time.Hour
			}
		}
		return d.Seconds(), nil
	}
	return 0, fmt.Errorf("%.40q is no time of day such as 15:04:05.250, nor a date and time", cell)
}
