package words

import "testing"

func TestBusText(t *testing.T) {
	for dialect, want := range map[string]string{"j1979": "can11-500", "": "can11-500", "j1979-2": "can11-500, by SAE J1979-2 (OBDonUDS)"} {
		if got := BusText("can11-500", dialect); got != want {
			t.Errorf("%q: %q", dialect, got)
		}
	}
}
