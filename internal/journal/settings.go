package journal

import (
	"time"
)

// Settings are where readings are kept, as the keeper says it.
type Settings struct {
	Path  string        `yaml:"path" kind:"a file" needrun:"/var/lib/binwatchd/journal.db" help:"The file; its folder must be the daemon's to write."`
	Flush time.Duration `yaml:"flush" least:"0.01s" most:"10m" default:"30s" help:"The longest a reading waits for others before it is written."`
	Keep  time.Duration `yaml:"keep" least:"1d" most:"32850d" default:"400d" help:"How long each single reading is kept; hourly and daily figures stay for ever."`
}
