package obd_test

import (
	"testing"
	"time"

	"pushback/obd"
)

// TestDeferred: a request is made again until its answer has come, for 5 s at the most, and the
// answer's time begins with the first of them.
func TestDeferred(t *testing.T) {
	type step struct {
		request string
		at      float64 // s, sent; received 0.1 s later
		reply   string  // of one computer; "" none, "other": another one answered
		again   bool
		sent    float64
	}
	for _, tt := range []struct {
		name  string
		steps []step
	}{
		{"an answer at once", []step{{"010C", 1, "62F40C0BED", false, 1}}},
		{"put off, then given", []step{{"010C", 1, "7F2278", true, 1}, {"010C", 1.2, "", true, 1.2}, {"010C", 1.4, "7F2221", true, 1.4}, {"010C", 1.6, "62F40C0BED", false, 1}, {"010C", 2, "62F40C0BED", false, 2}}},
		{"never given", []step{{"010C", 1, "7F2278", true, 1}, {"010C", 3, "7F2221", true, 3}, {"010C", 6, "7F2221", false, 6}}},
		{"refused in the end", []step{{"010C", 1, "7F2278", true, 1}, {"010C", 2, "7F2231", false, 2}, {"010C", 3, "", false, 3}}},
		{"another request between", []step{{"010C", 1, "7F2278", true, 1}, {"010D", 2, "62F40D00", false, 2}, {"010C", 3, "62F40C0BED", false, 3}}},
		{"somebody else has answered", []step{{"010C", 1, "other", false, 1}, {"010C", 2, "62F40C0BED", false, 2}}},
	} {
		var d obd.Deferred
		for i, s := range tt.steps {
			x := obd.Record{Sent: seconds(s.at), At: seconds(s.at + 0.1), Exchange: &obd.Exchange{Request: request(t, s.request), Outcome: obd.NoData}}
			switch {
			case s.reply == "other":
				x.Outcome = obd.OK
				x.Replies = []obd.Reply{{From: 0x7E9, Data: []byte{0x62, 0xF4, 0x0C, 0, 0}}, {From: 0x7E8, Data: []byte{0x7F, 0x22, 0x78}}}
			case s.reply != "":
				r := request(t, s.reply)
				x.Outcome, x.Replies = obd.OK, []obd.Reply{{From: 0x7E8, Data: r.Bytes()}}
				if r.Service == 0x7F {
					x.Outcome = obd.Refused
				}
			}
			if got := d.Again(&x); got != s.again || x.Sent != seconds(s.sent) {
				t.Errorf("%s, %d: again %v, sent %v", tt.name, i, got, x.Sent)
			}
		}
	}
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
