package decode

import "testing"

// Each bit of the status by itself, and none.
func TestLoopClosed(t *testing.T) {
	for status, want := range map[byte]bool{0: false, FuelOpenNotReady: false, FuelClosed: true, FuelOpenDriving: false, FuelOpenFault: false, FuelClosedFault: true} {
		if LoopClosed(status) != want {
			t.Errorf("%02X is closed: %v", status, !want)
		}
	}
}
