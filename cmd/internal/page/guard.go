package page

import (
	"crypto/subtle"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"
	"unicode"
)

// nolog drops what the server says of clients that misbehave.
var nolog = log.New(io.Discard, "", 0)

// policy lets the page use what comes from here and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; media-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard lets only those in who have the token, name this machine, and do not come
// from another site.
//
//   - The Host must be an address of ours, so a name that an attacker points here
//     (DNS rebinding) gets nothing, not even with the token.
//   - What changes something must come from our own page: Origin, and Sec-Fetch-Site
//     where the browser tells it.
//   - There is no cookie, so no browser carries a right to us by itself.
func (p *Page) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer") // the token is in the path
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if !slices.Contains(p.hosts, strings.ToLower(r.Host)) {
			http.Error(w, "", http.StatusMisdirectedRequest)
			return
		}
		if len(r.URL.Path) < len(p.prefix) || subtle.ConstantTimeCompare([]byte(r.URL.Path[:len(p.prefix)]), []byte(p.prefix)) != 1 {
			http.Error(w, "", http.StatusNotFound)
			return
		}
		if c, ok := r.Context().Value(connection{}).(*counted); ok {
			c.known.Store(true)
		}
		if strings.Contains(r.URL.Path[len(p.prefix):], "/") {
			http.Error(w, "", http.StatusNotFound) // nothing of ours lies deeper
			return
		}
		origin, site := r.Header.Get("Origin"), r.Header.Get("Sec-Fetch-Site")
		ours := origin == "http://"+strings.ToLower(r.Host)
		switch {
		case origin != "" && !ours,
			r.Method == http.MethodPost && !ours,
			r.Method == http.MethodPost && site != "" && site != "same-origin",
			site == "cross-site" && r.Header.Get("Sec-Fetch-Mode") != "navigate":
			http.Error(w, "", http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// resolve turns a wish into an address to listen on.
func resolve(where string) (string, error) {
	switch where {
	case "local":
		return "127.0.0.1:0", nil
	case "lan":
		ip, err := ownAddress()
		if err != nil {
			return "", err
		}
		return net.JoinHostPort(ip.String(), "0"), nil
	}
	if _, _, err := net.SplitHostPort(where); err != nil {
		return "", err
	}
	return where, nil
}

// ownAddress is the address under which the network by which this machine's way
// out goes knows it; without one, any private address. Nothing is sent.
func ownAddress() (netip.Addr, error) {
	if c, err := net.Dial("udp4", "192.0.2.1:9"); err == nil { // TEST-NET-1, RFC 5737
		defer c.Close()
		if a, ok := c.LocalAddr().(*net.UDPAddr); ok && !a.IP.IsLoopback() {
			return a.AddrPort().Addr().Unmap(), nil
		}
	}
	for _, ip := range ownAddresses() {
		if ip.IsPrivate() && ip.Is4() {
			return ip, nil
		}
	}
	return netip.Addr{}, ErrNoNetwork
}

func ownAddresses() []netip.Addr {
	var out []netip.Addr
	addrs, _ := net.InterfaceAddrs()
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil {
			out = append(out, p.Addr())
		}
	}
	return out
}

// hostsOf lists what a request's Host may be; the first is for the link.
func hostsOf(a net.Addr) []string {
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return []string{a.String()}
	}
	ip, port := at.Addr().Unmap(), at.Port()
	name := func(ip netip.Addr) string { return netip.AddrPortFrom(ip, port).String() }
	var hosts []string
	switch {
	case ip.IsUnspecified():
		if own, err := ownAddress(); err == nil {
			hosts = append(hosts, name(own))
		}
		for _, ip := range ownAddresses() {
			hosts = append(hosts, name(ip.WithZone("")))
		}
	default:
		hosts = append(hosts, name(ip))
	}
	if ip.IsLoopback() || ip.IsUnspecified() {
		_, p, _ := net.SplitHostPort(a.String())
		hosts = append(hosts, "localhost:"+p)
	}
	return hosts
}

// limit bounds connections: in all, and from one address, so that none can keep
// the others out. Where there are too many, the oldest that has not shown the token goes.
type limit struct {
	net.Listener
	mu  sync.Mutex
	all []*counted // the oldest first
}

const (
	maxConns     = 64
	maxConnsFrom = 16
)

func newLimit(l net.Listener) *limit { return &limit{Listener: l} }

// Accept closes at once what is too much.
func (l *limit) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		var ip netip.Addr
		if a, ok := c.RemoteAddr().(*net.TCPAddr); ok {
			ip = a.AddrPort().Addr()
		}
		if t, ok := c.(*net.TCPConn); ok {
			_ = t.SetWriteBuffer(256 << 10) // what one stalled client can take
		}
		n := &counted{Conn: c, from: ip, limit: l}
		l.mu.Lock()
		gone, room := l.makeRoom(ip)
		if room {
			l.all = append(l.all, n)
		}
		l.mu.Unlock()
		if gone != nil {
			gone.Close()
		}
		if room {
			return n, nil
		}
		c.Close()
	}
}

// makeRoom finds out whether one more may come from an address, and who has to go for it.
func (l *limit) makeRoom(ip netip.Addr) (gone *counted, room bool) {
	from := func(c *counted) bool { return c.from == ip }
	here := 0
	for _, c := range l.all {
		if from(c) {
			here++
		}
	}
	who := func(*counted) bool { return true }
	switch {
	case here >= maxConnsFrom:
		who = from
	case len(l.all) < maxConns:
		return nil, true
	}
	i := slices.IndexFunc(l.all, func(c *counted) bool { return who(c) && !c.known.Load() })
	if i < 0 {
		return nil, false
	}
	gone = l.all[i]
	l.all = slices.Delete(l.all, i, i+1)
	return gone, true
}

// counted is a connection that the limit minds.
type counted struct {
	net.Conn
	from  netip.Addr
	limit *limit
	known atomic.Bool // it has shown the token
}

// connection is the key of a request's connection in its context.
type connection struct{}

func (c *counted) Close() error {
	l := c.limit
	l.mu.Lock()
	l.all = slices.DeleteFunc(l.all, func(other *counted) bool { return other == c })
	l.mu.Unlock()
	return c.Conn.Close()
}

// bucket lets so much through and no more: ten at once, then two a second.
type bucket struct {
	mu   sync.Mutex
	left float64
	at   time.Time
}

func (b *bucket) take(now time.Time) bool {
	const most, perSecond = 10, 2
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.at.IsZero() {
		b.left = most
	} else {
		b.left = min(most, b.left+perSecond*now.Sub(b.at).Seconds())
	}
	b.at = now
	if b.left < 1 {
		return false
	}
	b.left--
	return true
}

// cleaned is a note without what a terminal or a file could stumble over, at most
// 200 characters.
func cleaned(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, text)
	if r := []rune(text); len(r) > 200 {
		text = string(r[:200])
	}
	return strings.TrimSpace(text)
}
