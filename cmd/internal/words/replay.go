package words

import (
	"strings"

	"pushback/analysis/hazard"
	"pushback/cmd/internal/live"
)

// replaySays tells what happens in a session that is over; nobody is to do anything.
func replaySays(s *live.State) string {
	side := strings.ToUpper(string(s.Side))
	switch {
	case s.Phase == live.Held && DrivesRear(s.Setup):
		return capital(partOf(s.Side)) + ": the sensor must read " + string(s.Side) + "."
	case s.Phase == live.Released && DrivesRear(s.Setup):
		return "The drive goes on."
	case s.Phase == live.Held && !s.Seen:
		return "The technician said " + side + " was connected; the reading doesn't show it yet."
	case s.Phase == live.Held:
		return "The " + string(s.Side) + " step is held."
	case s.Phase == live.Released:
		return "Released: " + mustRead(s.Setup.By, s.Side)
	case s.Ready != nil && !*s.Ready:
		return InUnits("Not ready: " + hazard.Join(s.Reasons, "; ") + ".")
	}
	return "No step: the loop runs by itself."
}

// heldBig names a step that is held: as an order only to who can obey.
func heldBig(s *live.State) string {
	side := strings.ToUpper(string(s.Side))
	if s.Replay {
		return side + " STEP"
	}
	return "HOLD " + side
}
