package simcar

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pushback/decode"
	"pushback/decode/dissector"
	"pushback/obd"
)

// TestDissector has the frames that simulated cars put on a CAN bus decoded by an analyser
// that knows neither the encoder nor the decoder (package dissector), while every quantity
// that they report goes over its full range. What the analyser says is compared with the
// quantity that was encoded, and with our decoder.
func TestDissector(t *testing.T) {
	if testing.Short() {
		t.Skip("asks another program")
	}
	if !dissector.Available() {
		t.Skip("tshark is not installed; the decoder is compared with what was kept of it in decode")
	}
	t.Parallel()
	var messages []dissector.Message
	var of []swept
	for _, spec := range sweptCars(t) {
		for step := range 256 {
			s := sweep(spec, float64(step)/255)
			for pid := range 0x60 {
				if !s.car.supports(&engineNode, byte(pid)) || pid == 0x01 || pid == 0x41 || pid == 0x51 || pid >= 0x55 && pid <= 0x58 {
					continue // what it does not decode
				}
				reply := s.car.answer(&engineNode, true, []byte{1, byte(pid)})[0]
				m := dissector.Message{Data: reply}
				for _, f := range replyFrames(spec.Bus, &engineNode, reply, spec.padding) {
					m.Frames = append(m.Frames, dissector.Frame{ID: f.id, Data: f.data})
				}
				messages, of = append(messages, m), append(of, s)
			}
		}
	}
	replies, err := dissector.Dissect(messages)
	if err != nil {
		t.Fatal(err)
	}
	ranges := map[string][2]float64{}
	for i, r := range replies {
		values, err := r.Values(of[i].layout())
		if err != nil {
			t.Fatal(err)
		}
		ours := decoded(t, of[i].layout(), messages[i].Data)
		for name, v := range values {
			s, ok := ours[name]
			if !ok || s.Missing != v.Missing || !v.Missing && math.Abs(s.Value-v.V) > v.Within {
				t.Errorf("%s: our %s is %v (missing: %v), the dissector says %v", r.Hex, name, s.Value, s.Missing, v)
			}
			if v.Missing {
				continue
			}
			lo, hi := v.V, v.V
			if was, ok := ranges[name]; ok {
				lo, hi = min(was[0], lo), max(was[1], hi)
			}
			ranges[name] = [2]float64{lo, hi}
			if want, ok := of[i].want[name]; ok && math.Abs(want-v.V) > s.Signal.Resolution/2+v.Within {
				t.Errorf("%s: %s was sent as %v, the dissector says %v", r.Hex, name, want, v.V)
			}
		}
		if len(ours) > len(values) {
			t.Errorf("%s: we decode %d values, the dissector %d", r.Hex, len(ours), len(values))
		}
		if t.Failed() {
			return
		}
	}
	// That each went over its whole range, and so each byte over all of its values.
	for name, top := range of[len(of)-1].want {
		s := decode.ByName(name)
		if got := ranges[name]; got[0] > s.Min+s.Resolution || got[1] < top-s.Resolution {
			t.Errorf("%s went from %v to %v, not over %v to %v", name, got[0], got[1], s.Min, top)
		}
	}
}

// sweptCars are a car of each kind that reports differently, on buses with short and
// long identifiers.
func sweptCars(t *testing.T) []Car {
	plain := carNamed(t, "healthy")
	plain.recent, plain.Bus, plain.downstream = true, obd.CAN11at500, true
	vee := plain
	vee.engine.banks, vee.Bus = 2, obd.CAN29at500
	four := vee
	four.fourBanks, four.trimApart = true, true
	wide := vee
	wide.wide, wide.Bus = true, obd.CAN11at250
	return []Car{plain, vee, four, wide}
}

// swept is a car whose reported data are set, and what a tester should read.
type swept struct {
	car  *car
	want map[string]float64 // by the standard's short names, in its units
}

func (s swept) layout() byte {
	if s.car.spec.fourBanks {
		return 0x1D
	}
	return 0x13
}

// sweep sets every quantity to a share x of its range, from 0 to 1.
func sweep(spec Car, x float64) swept {
	s := swept{car: &car{spec: &spec}, want: map[string]float64{}}
	of := func(name string) float64 {
		d := decode.ByName(name)
		top := d.Max
		switch { // this car declares no scale of its own
		case strings.HasPrefix(name, "EQ_RAT"):
			top = 65535.0 / 32768
		case name == "MAP":
			top = 255
		case name == "MAF":
			top = 655.35
		}
		v := d.Min + x*(top-d.Min)
		s.want[name] = v
		return v
	}
	d := &s.car.computer.data
	d.rpm, d.load, d.air = of("RPM"), of("LOAD_PCT")/100, of("MAF")
	d.coolant, d.speed, d.throttle = of("ECT"), of("VSS"), of("TP")/100
	d.spark, d.mapKPa, d.iat = of("SPARKADV"), of("MAP"), of("IAT")
	d.voltage, d.command, d.ran = of("VPWR"), of("EQ_RAT"), of("RUNTM")
	for i := range 2 {
		d.stft[i], d.ltft[i] = of(fmt.Sprintf("SHRTFT%d", i+1))/100, of(fmt.Sprintf("LONGFT%d", i+1))/100
		d.up[i], d.down[i] = of(fmt.Sprintf("O2S%d1", i+1)), of(fmt.Sprintf("O2S%d2", i+1))
		d.amps[i] = 0
		d.wide[i] = of(fmt.Sprintf("EQ_RAT%d1", i+1))
	}
	return s
}

func decoded(t *testing.T, layout byte, reply []byte) map[string]decode.Sample {
	var d decode.Decoder
	for _, x := range [][2][]byte{{{1, layout}, {0x41, layout, 0xFF}}, {{1, reply[1]}, reply}} {
		samples, err := d.Reply(0x7E8, x[0], x[1], 0, 0, nil)
		if err != nil {
			t.Fatal(err)
		}
		if x[0][1] == reply[1] {
			byName := map[string]decode.Sample{}
			for _, s := range samples {
				byName[s.Signal.Name] = s
			}
			return byName
		}
	}
	return nil
}
