package transfer

import (
	"encoding/json"
	"fmt"
	"time"

	"pushback/obd"
	"pushback/store"
)

// description is a session's description as JSON, in the formats that have no columns
// for it. Wide because it has a field for each of store.Meta's.
type description struct {
	ID        string      `json:"id"`
	Started   time.Time   `json:"started"`
	DurationS float64     `json:"duration_s"`
	Finished  bool        `json:"finished"`
	Bus       string      `json:"bus"`
	Headers   bool        `json:"headers"`
	Padded    bool        `json:"padded"`
	Dialect   obd.Dialect `json:"dialect,omitzero"` // j1979-2; j1979 goes without saying
	Adapter   string      `json:"adapter"`
	Sensors   []string    `json:"sensors"`
	Watching  string      `json:"watching"`
	By        string      `json:"by"`
	Origin    string      `json:"origin"`
	Label     string      `json:"label"`
	Vehicle   string      `json:"vehicle"`
	Note      string      `json:"note,omitempty"`
	VIN       string      `json:"vin,omitempty"`
	Version   string      `json:"version"`

	Conclusion string `json:"conclusion,omitempty"` // as it was stored
	Before     string `json:"before,omitempty"`     // ids of the sessions it is paired with
	After      string `json:"after,omitempty"`

	Visit *store.Visit `json:"visit,omitempty"`
}

// Describe returns the description of a session as one line of JSON. What is personal
// is in it unless [Redact] was called.
func Describe(m store.Meta) (string, error) {
	text, err := json.Marshal(description{m.ID, m.Started, m.Duration.Seconds(), m.Finished, m.Format.Bus.String(), m.Format.Headers, m.Format.Padded, m.Format.Dialect,
		m.Adapter, m.Sensors, m.Watching, m.By, m.Origin, m.Label, m.Vehicle, m.Note, m.VIN, m.Version, m.Conclusion, m.Before, m.After, m.Visit})
	return string(text), err
}

// Described is the inverse of Describe. Whoever judges the session anew has another conclusion.
func Described(text string) (store.Meta, error) {
	var d description
	if err := json.Unmarshal([]byte(text), &d); err != nil {
		return store.Meta{}, fmt.Errorf("read the description: %w", err)
	}
	m := store.Meta{ID: d.ID, Started: d.Started, Duration: time.Duration(d.DurationS * float64(time.Second)).Round(time.Microsecond), Finished: d.Finished,
		Adapter: d.Adapter, Sensors: d.Sensors, Watching: d.Watching, By: d.By, Origin: d.Origin, Label: d.Label, Vehicle: d.Vehicle,
		Note: d.Note, VIN: d.VIN, Version: d.Version, Conclusion: d.Conclusion, Before: d.Before, After: d.After, Visit: d.Visit}
	m.Format.Headers, m.Format.Padded = d.Headers, d.Padded
	m.Format.Dialect = d.Dialect
	if d.Bus != obd.BusUnknown.String() {
		var err error
		if m.Format.Bus, err = obd.ParseBus(d.Bus); err != nil {
			return store.Meta{}, fmt.Errorf("read the description: %w", err)
		}
	}
	return m, nil
}
