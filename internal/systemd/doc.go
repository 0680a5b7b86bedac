// Package systemd tells the service manager how the daemon is: ready,
// reloading, stopping, alive, and one line on what it is doing.
//
// It speaks the protocol of sd_notify(3): each message is one datagram of
// NAME=VALUE lines, sent to the unix socket that $NOTIFY_SOCKET names. Where
// there is no such socket (a terminal, a container) everything here does
// nothing and succeeds, so that callers need not ask. The package knows nothing
// of worms and never decides whether the daemon is well: its caller, the
// command run, hands a check to [Notifier.Feed].
//
// There is no library behind it. The kept-up choice, coreos/go-systemd
// (Apache-2.0), does the same in as many lines and leaves the parts that need
// thought to its caller: when a watchdog may be fed, and that a reload must
// carry the time at which it began.
package systemd
