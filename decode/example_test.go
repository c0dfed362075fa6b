package decode_test

import (
	"fmt"
	"time"

	"pushback/decode"
)

// An engine computer (7E8) answers what speed the engine has: 1AF8 quarters of a revolution a minute.
func ExampleDecoder_Reply() {
	var d decode.Decoder
	samples, err := d.Reply(0x7E8, []byte{0x01, 0x0C}, []byte{0x41, 0x0C, 0x1A, 0xF8}, 0, 20*time.Millisecond, nil)
	if err != nil {
		fmt.Println(err)
	}
	for _, s := range samples {
		fmt.Println(s.Signal.Name, s.Value, s.Signal.Unit)
	}
	// Output: RPM 1726 rpm
}

func ExampleParseSensorID() {
	id, _ := decode.ParseSensorID("B2S1")
	fmt.Println(id.Voltage(), id.Trim(), id.Downstream())
	_, err := decode.ParseSensorID("B5S1")
	fmt.Println(err)
	// Output:
	// O2S21 SHRTFT2 B2S2
	// sensor "B5S1" is not like B1S1 (bank 1, sensor 1)
}

func ExampleLoopClosed() {
	fmt.Println(decode.LoopClosed(decode.FuelClosed), decode.LoopClosed(decode.FuelClosedFault), decode.LoopClosed(decode.FuelOpenDriving), decode.LoopClosed(0))
	// Output: true true false false
}
