package systemd

import "time"

// Listened tells whether a service manager listens.
func (n Notifier) Listened() bool { return n.socket != "" }

// Interval is within how long a sign of life is due; 0 when none is wanted.
func (n Notifier) Interval() time.Duration { return n.interval }
