package main

import (
	"cmp"
	"slices"

	"pushback/cmd/internal/words"
	"pushback/decode"
	"pushback/store"
)

// describe makes the description of a session that is stored here of what the file and
// the command line say.
func (im *importing) describe(m store.Meta) store.Meta {
	m.Watching, m.By = words.Clean(cmp.Or(im.sensor, m.Watching, "B1S1")), cmp.Or(im.by, m.By)
	if m.By != "mixture" {
		m.By = "wire"
	}
	for _, f := range []struct {
		text *string
		said string // on the command line
	}{{&m.Label, im.label}, {&m.Vehicle, im.vehicle}, {&m.Note, im.note}, {&m.Adapter, ""}, {&m.VIN, ""}, {&m.Version, ""}} {
		*f.text = words.Clean(cmp.Or(f.said, *f.text))
	}
	if m.Visit != nil {
		m.Visit.Each(words.Clean)
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
