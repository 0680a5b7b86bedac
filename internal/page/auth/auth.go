// Package auth keeps strangers out of the phone page: where it may listen, the
// keeper's password, the sessions of those who gave it, and how often one may
// try.
//
// It speaks no HTTP and reads no clock: package page, its only caller besides
// the command that makes a password's hash, hands in requests' parts and the
// time. No password and no session token is ever logged or kept in the clear.
package auth

import (
	"fmt"
	"net"
	"strconv"

	"binwatchd/internal/loopback"
)

// Check tells whether a page may be served at listen, an address like
// "127.0.0.1:8338". Beyond loopback it must have a password.
func Check(listen string, hasPassword bool) error {
	host, port, err := net.SplitHostPort(listen)
	if err != nil {
		return fmt.Errorf("page address %q: want HOST:PORT, like 127.0.0.1:8338", listen)
	}
	if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return fmt.Errorf("page address %q: the port must be a number up to 65535", listen)
	}
	if !hasPassword && !loopback.Is(host) {
		return fmt.Errorf("page address %q can be reached from other machines: give the page a password, or listen on 127.0.0.1", listen)
	}
	return nil
}
