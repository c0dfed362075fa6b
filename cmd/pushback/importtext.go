package main

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"unicode"

	"pushback/analysis/session"
	"pushback/decode"
	"pushback/obd"
	"pushback/store"
)

// describe makes the description of a session that is stored here of what the file and
// the command line say.
func (im *importing) describe(m store.Meta) store.Meta {
	m.Watching, m.By = clean(cmp.Or(im.sensor, m.Watching, "B1S1")), cmp.Or(im.by, m.By)
	if m.By != "mixture" {
		m.By = "wire"
	}
	for _, f := range []struct {
		text *string
		said string // on the command line
	}{{&m.Label, im.label}, {&m.Vehicle, im.vehicle}, {&m.Note, im.note}, {&m.Adapter, ""}, {&m.VIN, ""}, {&m.Version, ""}} {
		*f.text = clean(cmp.Or(f.said, *f.text))
	}
	m.Version = cmp.Or(m.Version, versionText())
	if m.Origin != "live" && m.Origin != "simulated" {
		m.Origin = "import"
	}
	m.Sensors = slices.DeleteFunc(m.Sensors, func(s string) bool {
		_, err := decode.ParseSensorID(s)
		return err != nil
	})
	return m
}

// clean takes out of a stranger's text what would steer a terminal, and keeps the lines
// of a note.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, s)
}

// cleaned is a source whose notes are clean.
type cleaned struct{ session.Source }

func (c cleaned) Next(ctx context.Context) (obd.Record, error) {
	rec, err := c.Source.Next(ctx)
	if rec.Mark != nil && rec.Mark.Text != "" {
		rec.Mark.Text = clean(rec.Mark.Text)
	}
	return rec, err
}

// printable makes one short line of a text, for the terminal. What joins letters and
// pictures stays, what turns the direction of writing does not.
func printable(s string) string {
	const joiner = '\u200d'
	s = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) && r != joiner {
			return -1
		}
		return r
	}, strings.Join(strings.Fields(s), " "))
	if r := []rune(s); len(r) > 4000 {
		s = string(r[:4000])
	}
	return s
}
