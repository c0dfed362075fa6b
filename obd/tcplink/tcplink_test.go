package tcplink_test

import (
	"errors"
	"net"
	"testing"

	"pushback/obd"
	"pushback/obd/obdtest"
	"pushback/obd/tcplink"
)

func TestLink(t *testing.T) {
	obdtest.Conformance(t, func(t *testing.T) obdtest.Ends {
		ln, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer ln.Close()
		l, err := tcplink.Dial(t.Context(), ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		peer, err := ln.Accept()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close(); peer.Close() })
		return obdtest.Ends{Link: l, Peer: peer, Unplug: func() { peer.Close() }}
	})
}

func TestDialNobody(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := ln.Addr().String()
	ln.Close()
	_, err = tcplink.Dial(t.Context(), addr)
	var le *obd.LinkError
	if !errors.Is(err, obd.ErrNoAdapter) || !errors.As(err, &le) || le.Port != addr {
		t.Fatalf("dial: %v", err)
	}
}
