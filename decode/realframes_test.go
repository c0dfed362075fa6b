package decode

import (
	"encoding/csv"
	"errors"
	"os"
	"slices"
	"strconv"
	"testing"
)

// TestRealFrames runs what a real car sent through the decoder; see
// testdata/realframes/README.md at the top. What must come out was read by hand from the frames.
func TestRealFrames(t *testing.T) {
	f, err := os.Open("../testdata/realframes/repeated.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}

	var d Decoder
	var request []byte
	long := map[uint32][]byte{} // replies in several frames, with the length in front
	replies := map[string]int{}
	take := func(from uint32, reply []byte) {
		if request == nil || reply[0] == 0x7F && reply[1] != request[0] {
			return
		}
		samples, err := d.Reply(from, request, reply, 0, 0, nil)
		switch {
		case reply[0] == 0x7F:
			if !errors.Is(err, ErrRefused) {
				t.Errorf("%X → %X: %v", request, reply, err)
			}
		case err != nil || len(samples) > 0:
			t.Errorf("%X → %X: %v, %s", request, reply, err, list(samples))
		}
		switch reply[0] {
		case 0x43, 0x47, 0x4A:
			if codes, err := Codes(request[0], true, reply); err != nil || codes != nil {
				t.Errorf("%X: codes %v, %v", reply, codes, err)
			}
			replies["codes"]++
		case 0x49:
			if reply[1] == 2 {
				vin, err := VIN(reply)
				if vin != "" || !errors.Is(err, ErrShort) {
					t.Errorf("%q, %v", vin, err)
				}
				replies["vin"]++
			}
		}
	}
	for _, row := range rows[1:] {
		id, err := strconv.ParseUint(row[1], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		b, from := unhex(t, row[2]), uint32(id)
		switch {
		case id == 0x7DF:
			request = b[1 : 1+b[0]]
		case id < 0x7E8: // flow control
		case b[0]>>4 == 0:
			take(from, b[1:1+b[0]])
		case b[0]>>4 == 1:
			long[from] = slices.Clone(b[1:])
		case b[0]>>4 == 2:
			long[from] = append(long[from], b[1:]...)
			if n := int(long[from][0]); len(long[from]) > n {
				take(from, long[from][1:1+n])
			}
		}
	}

	if got := d.Computers(); !slices.Equal(got, []uint32{0x7EA, 0x7EB, 0x7EC, 0x7ED}) {
		t.Errorf("computers %X", got)
	}
	if d.Engine() != 0 {
		t.Errorf("engine's computer %X in an electric car", d.Engine())
	}
	for pid := range 0x80 {
		want := slices.Contains([]int{0x00, 0x01, 0x20, 0x21, 0x30, 0x31, 0x40, 0x5B}, pid)
		if got := d.Supports(byte(pid)); got != want {
			t.Errorf("PID %02X supported: %v", pid, got)
		}
	}
	if replies["codes"] != 19 || replies["vin"] != 1 {
		t.Error(replies)
	}
}
