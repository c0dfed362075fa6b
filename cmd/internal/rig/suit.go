package rig

import (
	"fmt"
	"slices"
	"strings"

	"pushback/analysis"
	"pushback/analysis/hazard"
	"pushback/cmd/internal/advice"
	"pushback/decode"
	"pushback/obd"
)

// Suit says why a sensor of this car cannot be tested so; nil: it can.
func Suit(d *decode.Decoder, sensor string, by analysis.By) error {
	sensors := d.Sensors()
	if len(sensors) == 0 {
		return advice.NotReady("this car names no oxygen sensors (PIDs 13 and 1D are not answered), so it cannot be tested this way",
			"is this the engine's computer, and the ignition on? `pushback vehicle` shows what the car offers")
	}
	var names []string
	for _, s := range sensors {
		names = append(names, s.Name)
		switch {
		case s.Name != sensor:
			continue
		case by == analysis.ByFuelCut && s.Kind == decode.Narrow && s.Position <= 1:
			return advice.NotReady(sensor+" switches between rich and lean: a fuel cut tells little of it",
				"force its wire (--by wire), or the mixture (--by mixture)")
		case by == analysis.ByWire && s.Kind == decode.WideRange:
			return advice.NotReady(sensor+" is a wide-range (air-fuel ratio) sensor: its wire must never be held",
				hazard.Step("not on a diesel, which has no loop to test. On gasoline move the mixture instead, with propane or an induced lean (--by mixture), or let the computer cut the fuel (--by fuelcut)", hazard.Propane, hazard.Hose))
		}
		return nil
	}
	return advice.On(fmt.Errorf("this car has no sensor %s; it has %s", sensor, strings.Join(names, ", ")),
		"name one of them with --sensor")
}

// Unsaid is what a recording is judged by where nobody said it: the mixture of a wide-range sensor, whose wire is never held; a drive's
// fuel cuts and full load of a narrow one behind the catalyst, whose wire shows nothing where the one in front is narrow too; else the wire.
func Unsaid(d *decode.Decoder, sensor string) analysis.By {
	for _, s := range d.Sensors() {
		front := decode.SensorID{Bank: s.Bank, Position: 1}.String()
		switch {
		case s.Name != sensor:
		case s.Kind == decode.WideRange:
			return analysis.ByMixture
		case s.Kind == decode.Narrow && s.Position > 1 && !WideRange(d, front):
			return analysis.ByFuelCut
		}
	}
	return analysis.ByWire
}

// WideRange reports whether a car says of a sensor that it is a wide-range one.
func WideRange(d *decode.Decoder, sensor string) bool {
	return slices.ContainsFunc(d.Sensors(), func(s decode.Sensor) bool { return s.Name == sensor && s.Kind == decode.WideRange })
}

// Readable says why a sensor may not be asked for through this adapter at all; nil: it may.
func (r *Rig) Readable(sensor string) error {
	for _, s := range r.Vehicle().Decoder.Sensors() {
		if s.Name == sensor && s.PID != 0 && !r.Adapter.Sends(obd.Request{Service: 0x01, Data: []byte{s.PID}}) {
			return advice.On(fmt.Errorf("this adapter does not echo what it is sent: a character lost on the way could turn the request for %s into 'clear codes'", sensor),
				"it is not sent; use another adapter")
		}
	}
	return nil
}
