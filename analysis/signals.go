package analysis

// role is what a signal means to this watcher.
type role uint8

const (
	roleNone role = iota
	roleVolts
	roleOtherVolts
	roleDown
	roleOtherDown
	roleTrim
	roleTrimBeside
	roleLong
	roleOtherTrim
	roleOtherTrimBeside
	roleOtherLong
	roleStatus
	roleStatusB
	roleCoolant
	roleRPM
	roleSpeed
	roleAir
	roleManifold
	roleWide
	roleFit
	roleRuntime
	rolePurge
)

// role is that of a signal by its name.
func (w *Watcher) role(name string) role {
	r := roleNone
	id, beside := w.cfg.Sensor, w.cfg.Sensor.Beside()
	switch name {
	case id.Voltage():
		r = roleVolts
	case beside.Voltage():
		r = roleOtherVolts
	case id.Downstream().Voltage(): // of a sensor behind the catalyst it is that itself, above
		if id.Position == 1 {
			r = roleDown
		}
	case beside.Downstream().Voltage():
		if id.Position == 1 {
			r = roleOtherDown
		}
	case id.Trim():
		r = roleTrim
	case id.TrimBeside():
		r = roleTrimBeside
	case id.LongTrim():
		r = roleLong
	case beside.Trim():
		r = roleOtherTrim
	case beside.TrimBeside():
		r = roleOtherTrimBeside
	case beside.LongTrim():
		r = roleOtherLong
	case "FUELSYS1":
		r = roleStatus
	case "FUELSYS2":
		r = roleStatusB
	case "ECT":
		r = roleCoolant
	case "RPM":
		r = roleRPM
	case "VSS":
		r = roleSpeed
	case "MAF":
		r = roleAir
	case "MAP":
		r = roleManifold
	case "RUNTM":
		r = roleRuntime
	case "EVAP_PCT":
		r = rolePurge
	case id.Ratio():
		r = roleWide
	default:
		if TellsFit(name) {
			r = roleFit
		}
	}
	return r
}
