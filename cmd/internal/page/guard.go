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
// the others out.
type limit struct {
	net.Listener
	mu   sync.Mutex
	all  int
	from map[netip.Addr]int
}

const (
	maxConns     = 64
	maxConnsFrom = 16
)

func newLimit(l net.Listener) *limit { return &limit{Listener: l, from: map[netip.Addr]int{}} }

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
		l.mu.Lock()
		if l.all >= maxConns || l.from[ip] >= maxConnsFrom {
			l.mu.Unlock()
			c.Close()
			continue
		}
		l.all++
		l.from[ip]++
		l.mu.Unlock()
		return &counted{Conn: c, done: sync.OnceFunc(func() {
			l.mu.Lock()
			defer l.mu.Unlock()
			l.all--
			if l.from[ip]--; l.from[ip] <= 0 {
				delete(l.from, ip)
			}
		})}, nil
	}
}

type counted struct {
	net.Conn
	done func()
}

func (c *counted) Close() error {
	c.done()
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
