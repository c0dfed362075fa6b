package simcar

import "math"

// The data of service 01, written apart from the decoder.

// pid is one PID of the engine's computer: which cars have it (nil: all), and its data bytes.
type pid struct {
	has  func(c *Car) bool
	data func(c *car, d *snapshot) []byte
}

func recent(c *Car) bool   { return c.recent }
func petrol(c *Car) bool   { return !c.diesel }
func meter(c *Car) bool    { return !c.engine.speedDensity }
func scales(c *Car) bool   { return c.scales != [4]byte{} }
func twoBanks(c *Car) bool { return c.engine.banks == 2 && !c.diesel }

// rearTrims reports whether the car tells the trims of the sensors behind the catalyst.
func rearTrims(c *Car) bool {
	return c.wide && c.downstream && !c.wideRear && c.control.wideLoop.rear > 0 && !c.mute55
}

// scaled is a full scale that the car declares by PID 4F, or the usual one.
func (c *Car) scaled(i int, usual float64) float64 {
	if c.scales[i] > 0 {
		return float64(c.scales[i])
	}
	return usual
}

// ratio, cellVolts and cellAmps are the counts of lambda, V and mA by the scales that the car
// declares: A/65535, B/65535 and C/32768 (from memory; a published reading of a car that
// declares 32 for lambda agrees), or else 2/65536, 8/65536 and 1/256.
func (c *Car) ratio(lambda float64) float64 {
	if a := c.scales[0]; a > 0 {
		return lambda * 65535 / float64(a)
	}
	return lambda * 32768
}

func (c *Car) cellVolts(v float64) float64 {
	if b := c.scales[1]; b > 0 {
		return v * 65535 / float64(b)
	}
	return v * 8192
}

func (c *Car) cellAmps(ma float64) float64 {
	if m := c.scales[2]; m > 0 {
		return 32768 + ma*32768/float64(m)
	}
	return (ma + 128) * 256
}

// enginePIDs are those that do not depend on where the sensors sit (SAE J1979).
var enginePIDs = map[byte]pid{
	0x01: {nil, func(c *car, d *snapshot) []byte { return c.monitorStatus() }},
	0x03: {petrol, func(c *car, d *snapshot) []byte { return d.status[:] }},
	0x04: {nil, func(c *car, d *snapshot) []byte { return one(d.load * 255) }},
	0x05: {nil, func(c *car, d *snapshot) []byte { return one(d.coolant + 40) }},
	0x06: {petrol, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.stft[0])} }},
	0x07: {petrol, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.ltft[0])} }},
	0x08: {twoBanks, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.stft[1])} }},
	0x09: {twoBanks, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.ltft[1])} }},
	0x0B: {nil, func(c *car, d *snapshot) []byte { return one(d.mapKPa * 255 / c.spec.scaled(3, 25.5) / 10) }},
	0x0C: {nil, func(c *car, d *snapshot) []byte { return two(d.rpm * 4) }},
	0x0D: {nil, func(c *car, d *snapshot) []byte { return one(d.speed) }},
	0x0E: {nil, func(c *car, d *snapshot) []byte { return one((d.spark + 64) * 2) }},
	0x0F: {nil, func(c *car, d *snapshot) []byte { return one(d.iat + 40) }},
	0x10: {meter, func(c *car, d *snapshot) []byte { return two(d.air * 100) }},
	0x11: {nil, func(c *car, d *snapshot) []byte { return one(d.throttle * 255) }},
	0x13: {func(c *Car) bool { return !c.fourBanks }, func(c *car, d *snapshot) []byte { return []byte{c.sensorMap()} }},
	0x12: {func(c *Car) bool { return c.engine.secondaryAir }, func(c *car, d *snapshot) []byte {
		return []byte{0x01} // upstream of the catalyst
	}},
	0x1C: {nil, func(c *car, d *snapshot) []byte { return []byte{0x06} }}, // EOBD
	0x1D: {func(c *Car) bool { return c.fourBanks }, func(c *car, d *snapshot) []byte { return []byte{c.sensorMap()} }},
	0x1F: {nil, func(c *car, d *snapshot) []byte { return two(d.ran) }},
	0x2E: {func(c *Car) bool { return c.engine.canister > 0 }, func(c *car, d *snapshot) []byte {
		if c.purge() > 0 {
			return []byte{0x99} // 60 %
		}
		return []byte{0}
	}},
	0x21: {recent, func(c *car, d *snapshot) []byte {
		if len(c.computer.stored) > 0 {
			return two(37)
		}
		return two(0)
	}},
	0x33: {recent, func(c *car, d *snapshot) []byte { return one(100) }},
	0x42: {recent, func(c *car, d *snapshot) []byte { return two(d.voltage * 1000) }},
	0x44: {recent, func(c *car, d *snapshot) []byte { return two(c.spec.ratio(d.command)) }},
	0x46: {recent, func(c *car, d *snapshot) []byte { return one(20 + 40) }},
	0x4F: {scales, func(c *car, d *snapshot) []byte { return c.spec.scales[:] }},
	0x51: {func(c *Car) bool { return c.recent && !c.untold }, func(c *car, d *snapshot) []byte { return []byte{max(c.spec.fuel, 0x01)} }},
	0x52: {func(c *Car) bool { return c.alcohol }, func(c *car, d *snapshot) []byte { return one(d.alcohol * 255) }},
	0x55: {rearTrims, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.rear[0])} }},
	0x56: {rearTrims, func(c *car, d *snapshot) []byte { return []byte{trimByte(0)} }},
	0x57: {func(c *Car) bool { return rearTrims(c) && twoBanks(c) }, func(c *car, d *snapshot) []byte { return []byte{trimByte(d.rear[1])} }},
	0x58: {func(c *Car) bool { return rearTrims(c) && twoBanks(c) }, func(c *car, d *snapshot) []byte { return []byte{trimByte(0)} }},
	0x5B: {func(c *Car) bool { return c.battery }, func(c *car, d *snapshot) []byte { return one(0.62 * 255) }},
}

// supports reports whether a computer answers a PID of service 01.
func (c *car) supports(n *node, pid byte) bool {
	if pid%0x20 == 0 {
		return pid == 0 || pid <= 0x60 && c.anyAbove(n, pid)
	}
	if !n.engine {
		return pid == 0x01 || pid == 0x0C || pid == 0x0D
	}
	if p, ok := enginePIDs[pid]; ok {
		return p.has == nil || p.has(c.spec)
	}
	return c.sensorAt(pid) != nil
}

// tells reports whether a computer answers a PID of service 01 now.
func (c *car) tells(n *node, pid byte) bool {
	lambda := 0x24 <= pid && pid < 0x2C || 0x34 <= pid && pid < 0x3C
	return c.supports(n, pid) && !(lambda && c.now() < c.spec.lambdaAfter)
}

// anyAbove reports whether any PID beyond a bit map's own is supported.
func (c *car) anyAbove(n *node, pid byte) bool {
	for p := int(pid) + 1; p < 0x80; p++ {
		if p%0x20 != 0 && c.supports(n, byte(p)) {
			return true
		}
	}
	return false
}

// bitMap is a PID 00, 20, …: a bit for each of the next 32.
func (c *car) bitMap(n *node, pid byte) []byte {
	bits := make([]byte, 4)
	for i := range 32 {
		if c.supports(n, pid+byte(i)+1) {
			bits[i/8] |= 0x80 >> (i % 8)
		}
	}
	return bits
}

// encode returns the data bytes of a PID that the computer supports.
func (c *car) encode(n *node, pid byte, d *snapshot) []byte {
	switch {
	case pid%0x20 == 0:
		return c.bitMap(n, pid)
	case !n.engine && pid == 0x01:
		return []byte{0, 0x04, 0, 0}
	}
	if p, ok := enginePIDs[pid]; ok {
		return p.data(c, d)
	}
	return c.sensorAt(pid)(d)
}

// monitorStatus is PID 01: lamp and number of codes, then the monitors.
func (c *car) monitorStatus() []byte {
	mil := byte(len(c.computer.stored))
	if mil > 0 {
		mil |= 0x80
	}
	b, m, open := c.computer.monitors()
	if c.spec.diesel && !c.spec.untold {
		b |= 0x08
	}
	return []byte{mil, b, m, open}
}

// sensorMap is PID 13 or 1D: a bit for each sensor that there is.
func (c *car) sensorMap() (bits byte) {
	for i := range c.spec.engine.banks {
		bits |= 1 << (c.sensorPID(i, 1) - 0x14)
		if c.spec.rear(i) {
			bits |= 1 << (c.sensorPID(i, 2) - 0x14)
		}
	}
	return bits
}

// sensorPID returns the PID (14 to 1B) of a sensor, by the layout that the car
// reports: two banks of four (PID 13) or four banks of two (PID 1D).
func (c *car) sensorPID(bank, position int) byte {
	per := 4
	if c.spec.fourBanks {
		per = 2
	}
	return byte(0x14 + per*bank + position - 1)
}

// sensorAt returns what a sensor's PID carries; nil where no sensor has it.
func (c *car) sensorAt(pid byte) func(*snapshot) []byte {
	for i := range c.spec.engine.banks {
		up, down := c.sensorPID(i, 1), c.sensorPID(i, 2)
		switch {
		case pid == up && c.spec.fifth:
			return func(d *snapshot) []byte { return append(one(fifthVolts(d.wide[i])*200), trimByte(d.stft[i])) }
		case pid == up && !c.spec.wide:
			return func(d *snapshot) []byte {
				trim := trimByte(d.stft[i])
				if c.spec.trimApart {
					trim = 0xFF
				}
				return append(one(d.up[i]*200), trim)
			}
		case pid == down && c.spec.rear(i) && !c.spec.wideRear:
			return func(d *snapshot) []byte { return append(one(d.down[i]*200), 0xFF) }
		case pid == up+0x10 && c.spec.wide && !c.spec.fifth && !c.spec.mute24: // lambda and the amplifier's voltage
			return c.spec.wideVolts(func(d *snapshot) float64 { return d.wide[i] })
		case pid == up+0x20 && c.spec.wide && !c.spec.fifth && !c.spec.mute34: // lambda and pump current
			return func(d *snapshot) []byte {
				return append(two(c.spec.ratio(d.wide[i])), two(c.spec.cellAmps(d.amps[i]))...)
			}
		case pid == down+0x10 && c.spec.wideRear && c.spec.rear(i):
			return c.spec.wideVolts(func(d *snapshot) float64 { return d.wideDown[i] })
		case pid == down+0x20 && c.spec.wideRear && c.spec.rear(i):
			return func(d *snapshot) []byte {
				return append(two(c.spec.ratio(d.wideDown[i])), two(c.spec.cellAmps(pumpCurrent(d.wideDown[i])))...)
			}
		}
	}
	return nil
}

// wideVolts encodes lambda and the voltage of an amplifier that rests at 2 V (indicative).
func (c *Car) wideVolts(lambda func(*snapshot) float64) func(*snapshot) []byte {
	return func(d *snapshot) []byte {
		l := lambda(d)
		return append(two(c.ratio(l)), two(c.cellVolts(2.0+1.2*(l-1)))...)
	}
}

// rear reports whether a bank has a sensor behind the catalyst.
func (c *Car) rear(bank int) bool { return c.downstream && (bank == 0 || !c.sharedRear) }

func one(v float64) []byte { return []byte{byte(clip(v, 255))} }

func two(v float64) []byte {
	u := uint16(clip(v, 65535))
	return []byte{byte(u >> 8), byte(u)}
}

// trimByte encodes a trim fraction: 128 is none, a count is 1/128 (SAE J1979).
func trimByte(x float64) byte { return byte(clip(128+x*128, 255)) }

// clip rounds to the nearest count within 0 … top.
func clip(v, top float64) float64 { return min(max(math.Round(v), 0), top) }
