// Package loopback says which hosts are this machine itself. What is served or
// sent there passes no network, and so may do without a password or TLS; all who
// decide that ask here, or a configuration would be right in one place and refused
// in another.
package loopback

import (
	"net/netip"
	"strings"
)

// Is tells whether a host, without a port, is this machine and nothing else:
// localhost in any spelling, also as a name that ends in the root's dot, and
// the addresses 127.0.0.0/8 and ::1, with brackets or without. An empty host
// means every network and is not. No other name is looked up: what it means may
// change.
func Is(host string) bool {
	if strings.ToLower(strings.TrimSuffix(host, ".")) == "localhost" {
		return true
	}
	if len(host) > 2 && host[0] == '[' && host[len(host)-1] == ']' {
		host = host[1 : len(host)-1]
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.Unmap().IsLoopback()
}
