package limits

import (
	"fmt"
	"testing"
	"time"
)

// What sentences say is what the limits are.
func TestTexts(t *testing.T) {
	for _, c := range []struct {
		limit time.Duration
		text  string
	}{{Hold, HoldText}, {HoldMost, MostText}, {Rest, RestText}, {Recovery, RecoveryText}} {
		if want := fmt.Sprintf("%.0f s", c.limit.Seconds()); c.text != want {
			t.Errorf("%q says a limit of %s", c.text, want)
		}
	}
	if !(Hold < HoldLong && HoldLong < HoldMost) {
		t.Errorf("holds of %v, %v and %v are out of order", Hold, HoldLong, HoldMost)
	}
}
