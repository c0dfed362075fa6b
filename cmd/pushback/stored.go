package main

import (
	"encoding/json"
	"fmt"

	"pushback/analysis"
	"pushback/cmd/internal/words"
)

// storedEvent words an event from its JSON line.
func storedEvent(line json.RawMessage) (string, error) {
	var j struct {
		T       float64            `json:"t"`
		Name    analysis.EventName `json:"event"`
		Side    analysis.Side      `json:"side"`
		Toward  string             `json:"toward"`
		After   float64            `json:"after_s"`
		Min     float64            `json:"after_min_s"`
		Max     float64            `json:"after_max_s"`
		Rate    float64            `json:"rate_pct_s"`
		Waited  float64            `json:"waited_s"`
		Moved   float64            `json:"moved_pct"`
		Value   float64            `json:"value_pct"`
		Bank    int                `json:"bank"`
		From    float64            `json:"from_s"`
		To      float64            `json:"to_s"`
		Cause   string             `json:"cause"`
		Status  string             `json:"status"`
		Code    string             `json:"code"`
		Pending bool               `json:"pending"`
		Reasons []string           `json:"reasons"`
	}
	if err := json.Unmarshal(line, &j); err != nil {
		return "", err
	}
	e := analysis.Event{T: j.T, Name: j.Name, Side: j.Side, Toward: j.Toward, After: j.After, AfterMin: j.Min, AfterMax: j.Max,
		Rate: j.Rate, Waited: j.Waited, Moved: j.Moved, Value: j.Value, Bank: j.Bank, From: j.From, To: j.To,
		Cause: j.Cause, Status: j.Status, Code: j.Code, Pending: j.Pending, Reasons: j.Reasons}
	return fmt.Sprintf("%7.1f s  %s", e.T, words.EventText(e)), nil
}
