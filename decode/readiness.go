package decode

import (
	"fmt"
	"slices"
)

// Monitor is one of the computer's own tests.
type Monitor struct {
	Name      string
	Supported bool // PID 41: enabled in this driving cycle
	Complete  bool // since the codes were cleared; PID 41: in this driving cycle
}

// Readiness is what PID 01 (since codes were cleared) or 41 (this driving cycle)
// says about the lamp and the computer's own tests.
type Readiness struct {
	ThisCycle   bool // from PID 41, which has no lamp and no number of codes
	ByGroups    bool // from J1979-2's groups, which tell neither lamp nor number of codes
	MIL         bool // malfunction lamp commanded on
	Codes       int  // stored trouble codes, 0 to 127
	Compression bool // compression ignition: other names for some monitors
	Monitors    [11]Monitor
}

// The monitors in the order of their bits: three in byte B, eight in C and D. The
// layout is as printed in Wikipedia, OBD-II PIDs; the names for compression
// ignition are from memory.
var (
	monitorNames = [11]string{"misfire", "fuel system", "components", "catalyst", "heated catalyst", "evaporative system",
		"secondary air", "air conditioning or particle filter", "oxygen sensors", "oxygen sensor heaters", "exhaust gas recirculation"}
	compressionNames = [11]string{"misfire", "fuel system", "components", "hydrocarbon catalyst", "NOx aftertreatment", "reserved C2",
		"boost pressure", "reserved C4", "exhaust gas sensors", "particle filter", "exhaust gas recirculation"}
)

// ReadReadiness reads a reply of service 01 that holds PID 01 or 41 alone, its
// service byte first. The error wraps [ErrShort], [ErrLong], [ErrForeign] or
// [ErrRefused].
func ReadReadiness(data []byte) (Readiness, error) {
	if err := matches([]byte{1}, data); err != nil {
		return Readiness{}, err
	}
	data = plain(1, data)
	switch {
	case len(data) < 6:
		return Readiness{}, fmt.Errorf("read readiness from %X: %w", data, ErrShort)
	case data[1] != 0x01 && data[1] != 0x41:
		return Readiness{}, fmt.Errorf("read readiness from %X: %w", data, ErrForeign)
	case len(data) > 6:
		return Readiness{}, fmt.Errorf("read readiness from %X: %w", data, ErrLong)
	}
	a, b, c, d := data[2], data[3], data[4], data[5]
	r := Readiness{ThisCycle: data[1] == 0x41, Compression: b&0x08 != 0}
	if !r.ThisCycle {
		r.MIL, r.Codes = a&0x80 != 0, int(a&0x7F)
	}
	names := &monitorNames
	if r.Compression {
		names = &compressionNames
	}
	supported := uint16(b&7) | uint16(c)<<3
	open := uint16(b>>4&7) | uint16(d)<<3
	for i := range r.Monitors {
		r.Monitors[i] = Monitor{names[i], supported>>i&1 == 1, open>>i&1 == 0}
	}
	return r, nil
}

// GroupReadiness is [ReadGroup] as readiness: group 01 is the components, which are complete when
// every code of theirs has been looked for since the codes were cleared. The error is ReadGroup's.
func GroupReadiness(request, data []byte) (Readiness, error) {
	codes, err := ReadGroup(request, data)
	r := Readiness{ByGroups: true}
	for i := range r.Monitors {
		r.Monitors[i].Name = monitorNames[i]
	}
	if err == nil && request[3] == 0x01 && len(codes) > 0 {
		open := slices.ContainsFunc(codes, func(c CodeStatus) bool { return c.Status&StatusNotRun != 0 })
		r.Monitors[2].Supported, r.Monitors[2].Complete = true, !open
	}
	return r, err
}

// Incomplete lists the supported monitors that have not finished.
func (r Readiness) Incomplete() []string {
	var out []string
	for _, m := range r.Monitors {
		if m.Supported && !m.Complete {
			out = append(out, m.Name)
		}
	}
	return out
}
