package seriallink

import "testing"

func TestAgain(t *testing.T) {
	adapter := Port{Name: "/dev/ttyUSB0", USB: true, device: "0403:6001:A1"}
	moved := Port{Name: "/dev/ttyUSB1", USB: true, device: "0403:6001:A1"}
	other := Port{Name: "/dev/ttyUSB2", USB: true, device: "0403:6001:B2"}
	builtIn := Port{Name: "/dev/ttyS0"}
	twin := Port{Name: "/dev/ttyUSB3", USB: true, device: "0403:6001:A1"}
	for _, c := range []struct {
		name string
		was  Port
		now  []Port
		want string
		ok   bool
	}{
		{"same name", adapter, []Port{other, adapter}, "/dev/ttyUSB0", true},
		{"another name", adapter, []Port{other, moved, builtIn}, "/dev/ttyUSB1", true},
		{"not there", adapter, []Port{other, builtIn}, "", false},
		{"two that look alike", adapter, []Port{moved, twin}, "", false},
		{"no USB device", builtIn, []Port{other, {Name: "/dev/ttyS1"}}, "", false},
	} {
		got, ok := Again(c.was, c.now)
		if ok != c.ok || ok && got != c.want {
			t.Errorf("%s: %q, %v", c.name, got, ok)
		}
	}
}
