package rig

import (
	"encoding/json"
	"os"
	"path/filepath"
	"sync"
	"time"

	"pushback/cmd/internal/smallfile"
	"pushback/obd/poll"
)

// Memory keeps what was learned of adapters and cars in a file beside the database, so
// that the next start on a known car skips the search. It is only a help: what cannot
// be read or written is forgotten, and what is remembered is verified before use.
type Memory struct {
	path string
	mu   sync.Mutex
}

// remembered is one entry of the file: the cars met through one adapter.
type remembered struct {
	Cars []poll.Car `json:"cars"`
	Car  *poll.Car  `json:"car,omitempty"` // in older files, which held one
	Used time.Time  `json:"used"`
}

// Bounds of the file: the adapters used longest ago are forgotten first.
const (
	maxRemembered = 64
	maxMemoryFile = 1 << 20
)

// MemoryBeside is the memory in the folder of a database.
func MemoryBeside(db string) *Memory {
	return &Memory{path: filepath.Join(filepath.Dir(db), "cars.json")}
}

func (m *Memory) read() map[string]remembered {
	all := map[string]remembered{}
	text, err := smallfile.Read(m.path, maxMemoryFile)
	if err != nil || json.Unmarshal(text, &all) != nil || all == nil {
		return map[string]remembered{}
	}
	for key, r := range all {
		if r.Car != nil {
			r.Cars, r.Car = append(r.Cars, *r.Car), nil
			all[key] = r
		}
	}
	return all
}

// Recall returns the cars met under the key, the latest first.
func (m *Memory) Recall(key string) []poll.Car {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.read()[key].Cars
}

// Remember keeps what was learned of a car under the key.
func (m *Memory) Remember(key string, c poll.Car) {
	m.mu.Lock()
	defer m.mu.Unlock()
	all := m.read()
	all[key] = remembered{Cars: poll.Met(all[key].Cars, c), Used: time.Now()}
	text, err := json.Marshal(all)
	for err == nil && (len(all) > maxRemembered || len(text) > maxMemoryFile) {
		oldest := ""
		for k, r := range all {
			if oldest == "" || r.Used.Before(all[oldest].Used) {
				oldest = k
			}
		}
		delete(all, oldest)
		text, err = json.Marshal(all)
	}
	if err != nil || os.MkdirAll(filepath.Dir(m.path), 0o700) != nil {
		return
	}
	// Written beside and renamed, so that a pulled plug leaves the old file or the new.
	tmp, err := os.CreateTemp(filepath.Dir(m.path), ".cars-*")
	if err != nil {
		return
	}
	_, err = tmp.Write(text)
	if cerr := tmp.Close(); err == nil {
		err = cerr
	}
	if err != nil || os.Rename(tmp.Name(), m.path) != nil {
		os.Remove(tmp.Name())
	}
}
