package subscription

import (
	"net/netip"
	"net/url"
	"strings"
)

// endpoint says what is wrong with the address of a receiver; empty for nothing.
// Where a name leads is not asked here: it may lead elsewhere later, so that
// [Policy.Allows] is asked of each connection.
func (p Policy) endpoint(text string) string {
	u, err := url.Parse(text)
	if err != nil || u.Host == "" || u.Opaque != "" || len(text) > 2000 {
		return "endpoint is an address such as https://receiver.example/countback"
	}
	host := u.Hostname()
	ip, ipErr := netip.ParseAddr(host)
	switch {
	case u.User != nil:
		return "no name and password belong into an endpoint: send what is needed in channel.header"
	case u.Fragment != "":
		return "an endpoint has no fragment"
	case u.Scheme == "http" && !p.Plain && !isLoopback(host):
		return "endpoint is an https address: http is neither secret nor certain, and taken for loopback only"
	case u.Scheme != "https" && u.Scheme != "http":
		return "endpoint is an https address"
	case ipErr == nil && !p.Allows(ip, host):
		return "nothing is sent to this address: it is one that only a machine and its closest neighbours have"
	}
	return ""
}

// isLoopback reports whether a host is this machine by its name.
func isLoopback(host string) bool {
	ip, err := netip.ParseAddr(host)
	return strings.EqualFold(host, "localhost") || err == nil && ip.Unmap().IsLoopback()
}

// Prefixes that stand for other addresses, or for none.
var (
	thisNetwork = netip.MustParsePrefix("0.0.0.0/8")    // RFC 1122, 3.2.1.3
	translated  = netip.MustParsePrefix("64:ff9b::/96") // RFC 6052: an IPv4 address at its end
	sixToFour   = netip.MustParsePrefix("2002::/16")    // RFC 3056: an IPv4 address after it
	// Where providers of machines hand out keys to whoever asks, beside the
	// link-local address. From memory.
	keepers = []netip.Addr{netip.MustParseAddr("fd00:ec2::254"), netip.MustParseAddr("100.100.100.200")}
)

// Allows reports whether a connection to an address may be made for an endpoint
// whose host is written as told. Loopback is for endpoints that say so by
// themselves: a name elsewhere that leads here would let anyone write to what
// listens on this machine only.
func (p Policy) Allows(ip netip.Addr, host string) bool {
	ip = ip.Unmap().WithZone("")
	b := ip.As16()
	switch {
	case translated.Contains(ip):
		return p.Allows(netip.AddrFrom4([4]byte(b[12:16])), host)
	case sixToFour.Contains(ip):
		return p.Allows(netip.AddrFrom4([4]byte(b[2:6])), host)
	case ip.IsUnspecified(), ip.IsMulticast(), thisNetwork.Contains(ip), ip == netip.AddrFrom4([4]byte{255, 255, 255, 255}):
		return false
	case ip.IsLoopback():
		return isLoopback(host)
	case ip.IsLinkLocalUnicast():
		return p.LinkLocal
	}
	for _, k := range keepers {
		if ip == k {
			return p.LinkLocal
		}
	}
	return true
}
