package simcar

import (
	"bytes"
	"encoding/hex"
	"testing"
	"time"

	"pushback/obd"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestChecksum(t *testing.T) {
	for _, c := range []struct{ frame, want, source string }{
		{"686AF1010C", "D0", "K-line request in a teaching summary, 'Rangkuman protokol ISO 9141-2 dan ISO 14230' (2015)"},
		{"486B40410C0C97", "E3", "its reply; the summary prints header 48 68, but its E3 needs 48 6B"},
		{"686AF10114", "D8", "sum computed by hand"},
		{"486B1041145A80", "F2", "sum computed by hand"},
		{"C233F1010C", "F3", "sum computed by hand"},
	} {
		if got := checksum(unhex(t, c.frame)); got != unhex(t, c.want)[0] {
			t.Errorf("checksum(%s) = %02X, want %s (%s)", c.frame, got, c.want, c.source)
		}
	}
}

func TestCRC(t *testing.T) {
	// CRC-8 with polynomial 1D, start FF, final FF: the catalogue's check value of the
	// digits 1 to 9 is 4B (CRC-8/SAE-J1850).
	if got := crc([]byte("123456789")); got != 0x4B {
		t.Errorf("crc of the check string = %02X, want 4B", got)
	}
	if got := crc(unhex(t, "686AF1010C")); got != 0x8B {
		t.Errorf("crc = %02X, want 8B (computed apart)", got)
	}
}

func TestSegments(t *testing.T) {
	// ISO 15765-2 as the Linux kernel's iso15765-2.rst describes it: up to 7 bytes in
	// one frame; longer messages begin with a 12-bit length and 6 bytes, then 7 a frame,
	// numbered modulo 16.
	long := make([]byte, 150)
	for i := range long {
		long[i] = byte(i)
	}
	frames := segments(0x7E8, long, 0xAA)
	if want := unhex(t, "1096000102030405"); !bytes.Equal(frames[0].data, want) {
		t.Errorf("first frame %X, want %X", frames[0].data, want)
	}
	var got []byte
	got = append(got, frames[0].data[2:]...)
	for i, f := range frames[1:] {
		if f.data[0] != 0x20|byte(i+1)&0x0F {
			t.Errorf("frame %d has number %02X", i+1, f.data[0])
		}
		got = append(got, f.data[1:]...)
	}
	if !bytes.Equal(got[:150], long) {
		t.Error("the frames do not carry the message")
	}
	if last := frames[len(frames)-1].data; len(last) != 8 || last[7] != 0xAA {
		t.Errorf("last frame %X is not padded", last)
	}
	if short := segments(0x7E8, unhex(t, "411412F0"), -1); len(short) != 1 || !bytes.Equal(short[0].data, unhex(t, "04411412F0")) {
		t.Errorf("single frame %X", short)
	}
}

// TestIdealPeriod compares the period of a one-PID exchange with the figures that
// follow from the buses' published timing (bits, P3, P4, IFS; see the constants'
// sources), worked out by hand for a reply of two data bytes.
func TestIdealPeriod(t *testing.T) {
	request, reply := []byte{0x01, 0x14}, []byte{0x41, 0x14, 0x5A, 0x80}
	ms := func(x float64) time.Duration { return time.Duration(x * float64(time.Millisecond)) }
	for _, c := range []struct {
		bus      obd.Bus
		answer   float64 // ms
		want     float64 // ms
		within   float64
		workings string
	}{
		// The simulated computer leaves 1 ms between its bytes (P1): 7 ms more than none.
		{obd.ISO9141, 0, 93.5 + 7, 0.1, "55 + 6·0.9615 + 5·5 + 8·0.9615, and P1"},
		{obd.ISO9141, 25, 118.5 + 7, 0.1, "the same with P2 25"},
		{obd.ISO14230Fast, 30, 130.5, 0.1, "P2 30, P1 1, P3 55"},
		{obd.VPW, 2, 14, 1, "bits of 64 and 128 µs, by value"},
		{obd.VPW, 100, 112, 1, "the same"},
		{obd.PWM, 2, 5.5, 0.5, "24 µs a bit"},
		{obd.PWM, 100, 104, 1, "the same"},
		{obd.CAN11at500, 1, 1.5, 0.15, "two frames of about 120 bits at 2 µs"},
		{obd.CAN29at250, 1, 2.3, 0.2, "two frames of about 142 bits at 4 µs"},
	} {
		got := Ideal(c.bus, 0, ms(c.answer), request, reply, false)
		if d := got - ms(c.want); d > ms(c.within) || d < -ms(c.within) {
			t.Errorf("%v, answer after %g ms: %v, want %g ms (%s)", c.bus, c.answer, got, c.want, c.workings)
		}
	}
}

// TestReadingRate counts readings through the adapter as a plain client gets them, with
// the expected count given. The ranges follow from the timing above: K-lines 5.6 to
// 10.7 readings a second between a slow legal computer and an ideal one; J1850 8.9 to
// 31 (VPW) and 9.7 to 43 (PWM) for computers of 20 to 100 ms; CAN 20 to 95 for computers
// of 10 to 50 ms. At 115200 baud the serial line takes 2 to 4 ms of each.
func TestReadingRate(t *testing.T) {
	for b := obd.PWM; b <= obd.CAN29at250; b++ {
		lo, hi := 5.6, 10.7
		switch {
		case b.CAN():
			lo, hi = 20, 95
		case b == obd.VPW:
			lo, hi = 8.9, 31
		case b == obd.PWM:
			lo, hi = 9.7, 43
		}
		c := newClient(t, Config{Car: carNamed(t, "healthy"), Bus: b, Baud: 115200})
		for _, s := range []string{"ATE0", "ATS0", "ATH1", "0100"} {
			c.ask(s)
		}
		start := c.sim.Now()
		for range 100 {
			c.ask("01141")
		}
		rate := 100 / (c.sim.Now() - start).Seconds()
		if rate < lo || rate > hi {
			t.Errorf("%v: %.1f readings/s, want %g to %g", b, rate, lo, hi)
		}
		ideal := Ideal(b, 115200, UsualReply(b), []byte{1, 0x14}, []byte{0x41, 0x14, 0, 0}, false)
		if got := 1 / rate / ideal.Seconds(); got < 0.97 || got > 1.06 {
			t.Errorf("%v: period is %.3f of the ideal %v", b, got, ideal)
		}
	}
}
