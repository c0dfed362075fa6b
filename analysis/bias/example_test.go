package bias_test

import (
	"fmt"
	"log"

	"pushback/analysis/bias"
)

// Two resistors that make 0.9 V of a dry cell, behind some 600 Ω.
func ExampleFind() {
	series, err := bias.ParseSeries("E24")
	if err != nil {
		log.Fatal(err)
	}
	d, err := bias.Find(bias.DryCell, 0.9, 600, series, series.Tolerance, bias.UsualComputer)
	if err != nil {
		log.Fatal(err)
	}
	volts, behind := d.Open()
	fmt.Printf("%s over %s: %.2f V behind %s\n", bias.Ohms(d.Top), bias.Ohms(d.Bottom), volts, bias.Ohms(behind))
	fmt.Println(len(d.Refusals()), "reasons to refuse it")
	// Output:
	// 1 kΩ over 1.5 kΩ: 0.90 V behind 600 Ω
	// 0 reasons to refuse it
}

// What 14.4 V through 1 MΩ puts on a usual input, the sensor's branch open: too much.
func ExampleThrough() {
	fmt.Printf("%.1f V\n", bias.Through(14.4, 1e6, bias.OpenBranch))
	// Output: 5.0 V
}
