// Package auth keeps strangers out of the phone page: where it may listen, the
// keeper's password, the sessions of those who gave it, and how often one may
// try.
//
// It speaks no HTTP and reads no clock: package page, its only caller besides
// the command that makes a password's hash, hands in requests' parts and the
// time. No password and no session token is ever logged or kept in the clear.
package auth
