package live_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"pushback/analysis/session"
	"pushback/cmd/internal/live"
	"pushback/cmd/internal/sessiontest"
	"pushback/obd"
)

// record is an exchange for PID 14 that took 50 ms.
func record(at time.Duration, o obd.Outcome, reply ...byte) obd.Record {
	x := &obd.Exchange{Request: obd.Request{Service: 0x01, Data: []byte{0x14}}, Outcome: o}
	if o == obd.OK {
		x.Replies = []obd.Reply{{From: 0x7E8, Data: reply}}
	}
	return obd.Record{Sent: at - 50*time.Millisecond, At: at, Exchange: x}
}

// The lines are those that contract promises to other programs.
func TestJSONLines(t *testing.T) {
	var out bytes.Buffer
	p := live.NewJSONLines(&out, true)
	if err := p.Begin(live.Header{ID: "k3x7rt", Bus: "can11-500", Dialect: "j1979", Watching: "B1S1", By: "wire"}); err != nil {
		t.Fatal(err)
	}
	j := session.NewJudge(session.Setup{Sensor: sessiontest.B1S1.Sensor, Format: obd.Format{Bus: obd.CAN11at500, Headers: true}})
	if err := p.Write(j.Step(record(1234567*time.Microsecond, obd.OK, 0x41, 0x14, 0x57, 0x7F))); err != nil {
		t.Fatal(err)
	}
	if err := p.Write(j.Step(record(2*time.Second, obd.NoData))); err != nil {
		t.Fatal(err)
	}
	// 57 hex = 87, 87/200 V; 7F hex = 127, (127-128)*100/128 % (SAE J1979, PID 14).
	want := `{"kind":"session","id":"k3x7rt","bus":"can11-500","dialect":"j1979","sensors":[],"watching":"B1S1","by":"wire"}
{"kind":"sample","t":1.235,"name":"O2S11","value":0.435,"unit":"V"}
{"kind":"sample","t":1.235,"name":"SHRTFT11","value":-0.78125,"unit":"%"}
`
	if d := cmp.Diff(want, out.String()); d != "" {
		t.Error(d)
	}
}
