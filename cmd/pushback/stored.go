package main

import (
	"encoding/json"
	"fmt"

	"pushback/analysis"
	"pushback/cmd/internal/words"
)

// storedEvent words an event from its JSON line.
func storedEvent(line json.RawMessage) (string, error) {
	var e analysis.Event
	if err := json.Unmarshal(line, &e); err != nil {
		return "", err
	}
	return fmt.Sprintf("%7.1f s  %s", e.T, words.EventText(e)), nil
}
