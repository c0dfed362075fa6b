package obd_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"pushback/obd"
	"pushback/obd/simcar"
)

// TestOthers: of a truck, and of a bus where nobody answers, it is said what was asked and heard; a car of a K-line is found
// though its connector has a CAN bus where nobody answers, and nearly as soon as without.
func TestOthers(t *testing.T) {
	find := func(car simcar.Car) (obd.Format, time.Duration, error) {
		t.Helper()
		s, err := simcar.New(simcar.Config{Car: car, Seed: 1, Tap: func(m simcar.Traffic) {
			if m.From == 0 && obd.Changes(int(m.Message[0]), len(m.Message)-1) {
				t.Errorf("%s is asked %X", car.Name, m.Message)
			}
		}})
		if err != nil {
			t.Fatal(err)
		}
		a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{})
		if _, err := a.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		begin := s.Now()
		f, err := a.FindBus(t.Context(), obd.BusUnknown)
		return f, s.Now() - begin, err
	}
	_, took, err := find(carNamed(t, "heavy-duty"))
	if !errors.Is(err, obd.ErrHeavyDuty) || !strings.Contains(err.Error(), "SAE J1939: 0CF00400 18FEF100 18FEEE00 18FECA00") {
		t.Errorf("heavy-duty: %v", err)
	}
	t.Logf("heavy-duty after %v: %v", took, err)
	_, took, err = find(carNamed(t, "nobody-answers"))
	if !errors.Is(err, obd.ErrSilentBus) || errors.Is(err, obd.ErrHeavyDuty) || !strings.Contains(err.Error(), "on can29-500 nobody answers 0100, 22F400, 22F810") {
		t.Errorf("nobody answers: %v", err)
	}
	t.Logf("nobody after %v: %v", took, err)
	f, both, err := find(carNamed(t, "two-buses"))
	if err != nil || f.Bus != obd.ISO14230Fast || f.Dialect != obd.J1979 {
		t.Errorf("two buses: %+v, %v", f, err)
	}
	one := carNamed(t, "healthy")
	one.Bus = obd.ISO14230Fast
	f, alone, err := find(one)
	if err != nil || f.Bus != obd.ISO14230Fast {
		t.Errorf("one bus: %+v, %v", f, err)
	}
	t.Logf("two buses %v, one %v", both, alone)
	if both > alone+1500*time.Millisecond {
		t.Errorf("two buses: found after %v, with one after %v", both, alone)
	}
}

// A car of J1979-2 whose computer puts its first answer off is found as one: that answer, come late, is not taken for one of J1979.
func TestPutOffAtFirst(t *testing.T) {
	cfg, _, _ := simcar.RandomWide(100022)
	late := false
	cfg.Tap = func(m simcar.Traffic) {
		late = late || m.From != 0 && len(m.Message) == 3 && m.Message[0] == 0x7F && m.Message[2] == 0x78
	}
	s, err := simcar.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	a := obd.NewAdapter(s.Link(), s.Clock(), obd.AdapterOptions{})
	if _, err := a.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	if f, err := a.FindBus(t.Context(), obd.BusUnknown); err != nil || f.Dialect != obd.J1979v2 {
		t.Errorf("%+v, %v", f, err)
	}
	if !late {
		t.Error("this car puts nothing off: take another seed")
	}
}
