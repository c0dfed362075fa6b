package simcar

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// The computer's own figures, worked by hand on a triangle between 0.1 and 0.9 V with a
// period of 2 s: 0.3 to 0.6 V takes 0.375 s, it is below 0.45 V for 0.875 s of the two.
func TestOwnFigures(t *testing.T) {
	var f ownFigures
	f.init()
	for i := range 3000 {
		at := float64(i) * tick
		f.step(0.1+0.8*math.Abs(math.Mod(at, 2)-1), at)
	}
	for _, k := range []struct {
		what      string
		got, want float64
	}{{"minimum", f.min, 0.1}, {"maximum", f.max, 0.9}, {"period", f.between + f.stay, 2}, {"between", f.between, 0.875}, {"to lean", f.toLean, 0.375}, {"to rich", f.toRich, 0.375}} {
		if math.Abs(k.got-k.want) > 0.05 {
			t.Errorf("%s is %.3f, want %.3f", k.what, k.got, k.want)
		}
	}
	if f.switches != 10 {
		t.Errorf("%d switches in a cycle of 10 s", f.switches)
	}
}

// Replies of services 02, 04, 05 and 06 as the car gives them.
func TestServices(t *testing.T) {
	car := carNamed(t, "vacuum-leak-large")
	sim, err := New(Config{Car: car, Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	c := sim.car
	c.run(12 * time.Second)
	ask := func(can bool, req ...byte) string { return fmt.Sprintf("%X", c.answer(&engineNode, can, req)) }
	if got := ask(true, 0x02, 0x02, 0x00); got != "[4202000171]" {
		t.Errorf("freeze frame code: %s", got)
	}
	if got := ask(true, 0x02, 0x00, 0x00); got != "[4200007E390000]" && got != "[4200007E398000]" {
		t.Errorf("freeze frame map: %s", got)
	}
	if got := ask(false, 0x05, 0x01, 0x01); got != "[4501015A]" { // 0.45 V
		t.Errorf("threshold: %s", got)
	}
	if got := ask(true, 0x05, 0x01, 0x01); got != "[]" { // not on CAN
		t.Errorf("service 05 on CAN: %s", got)
	}
	if got := ask(true, 0x06, 0x00); got != "[460080000001]" {
		t.Errorf("monitors: %s", got)
	}
	if got := ask(true, 0x06, 0x01); len(got) != 2+2*(1+9*10) {
		t.Errorf("monitor 01: %s", got)
	}
	ready := ask(true, 0x01, 0x01)
	if ready != "[410181076500]" {
		t.Errorf("monitors before clearing: %s", ready)
	}
	if got := ask(true, 0x04); got != "[44]" {
		t.Errorf("clear: %s", got)
	}
	if got := ask(true, 0x02, 0x02, 0x00); got != "[4202000000]" {
		t.Errorf("freeze frame after clearing: %s", got)
	}
	if got := ask(true, 0x01, 0x01); got != "[410100376565]" {
		t.Errorf("monitors after clearing: %s", got)
	}
}
