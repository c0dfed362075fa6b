package dossier_test

import (
	"context"
	"fmt"
	"io"
	"log"
	"time"

	"pushback/analysis/dossier"
	"pushback/analysis/session"
	"pushback/obd"
)

// rows is a recording made elsewhere: a warm engine at idle whose sensor switches each second.
type rows struct{ n int }

func (r *rows) Next(context.Context) (obd.Record, error) {
	if r.n == 600 {
		return obd.Record{}, io.EOF
	}
	at := time.Duration(r.n) * 100 * time.Millisecond
	volts := 0.1
	if r.n/10%2 == 0 {
		volts = 0.8
	}
	rec := obd.Record{Seq: int64(r.n), At: at, Row: &obd.Row{Names: []string{"ECT", "RPM", "FUELSYS1", "O2S11", "SHRTFT1"}, Values: []float64{90, 750, 2, volts, 0.8}}}
	r.n++
	return rec, nil
}

func ExampleCollect() {
	setup, err := session.NewSetup("B1S1", "wire", obd.Format{})
	if err != nil {
		log.Fatal(err)
	}
	d, err := dossier.Collect(context.Background(), &rows{}, dossier.Setup{Setup: setup, Traces: true, Trims: true})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%d records: %s\n", d.Records, d.Verdict.Conclusion)
	for _, r := range d.Conditions {
		fmt.Printf("%s %g to %g %s\n", r.Name, r.Min, r.Max, r.Unit)
	}
	fmt.Printf("%s: period %.1f s; %d readings of trim count\n", d.Switching[0].Name, d.Switching[0].Period, d.TrimData(0).Count)
	// Output:
	// 600 records: nothing_forced
	// ECT 90 to 90 °C
	// RPM 750 to 750 rpm
	// idle: period 2.0 s; 600 readings of trim count
}
