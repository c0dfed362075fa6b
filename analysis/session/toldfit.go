package session

import (
	"time"

	"pushback/decode"
)

// toldFit is what a live car has told of fuel and exhaust air, which may keep it from being tested: on a slow bus that comes later
// than the rest, and nobody is asked to hold a wire before.
type toldFit struct {
	isReady bool                     // the watcher has found the car fit, as far as it knew then
	readyAt time.Duration            // and when
	first   map[string]time.Duration // when each was read first
	last    map[string]time.Duration // and last
}

// fitPIDs tell what the analysis follows, by the names of the signals.
var fitPIDs = map[byte]string{0x12: "AIR_STAT", 0x51: "FUEL_TYP", 0x52: "ALCH_PCT", 0x5B: "BAT_PWR"}

// Times for that: alcohol that is being learned moves within the first, and what does not come within the second is not waited for.
const (
	alcoholMoves = 6 * time.Second
	fitWithin    = 20 * time.Second
)

func (f *toldFit) tell(name string, now time.Duration) {
	if f.first == nil {
		f.first, f.last = map[string]time.Duration{}, map[string]time.Duration{}
	}
	if _, known := f.first[name]; !known {
		f.first[name] = now
	}
	f.last[name] = now
}

// knowsFit reports whether all was told that the car offers, or not told for long.
func (f *toldFit) knowsFit(car *decode.Decoder, now time.Duration) bool {
	if now-f.readyAt >= fitWithin {
		return true
	}
	for pid, name := range fitPIDs {
		if !car.Supports(pid) {
			continue
		}
		at, known := f.first[name]
		if !known || name == "ALCH_PCT" && f.last[name]-at < alcoholMoves {
			return false
		}
	}
	return true
}
