package journal

import (
	"time"
)

// Settings are where readings are kept, as the keeper says it.
type Settings struct {
	Path  string        `yaml:"path" kind:"a file" needrun:"/var/lib/binwatchd/journal.db" help:"The file; its folder must be the daemon's to write."`
	Flush time.Duration `yaml:"flush" least:"0.01s" most:"10m" default:"30s" help:"The longest a reading waits for others before it is written; four times as long, up to two minutes, while the broker keeps all that waits and it is less than ten."`
	Keep  time.Duration `yaml:"keep" least:"1d" most:"32850d" default:"400d" help:"How long each single reading is kept; hourly and daily figures stay for ever."`

	Backup *BackupSettings `yaml:"backup,flow" kind:"backup" help:"Copies of the journal that are made now and then and checked, each time."`
}

// BackupSettings say where copies of the journal go by themselves.
type BackupSettings struct {
	To    string        `yaml:"to" kind:"a folder" need:"/media/stick" help:"The folder; it must be there, the daemon's to write, and best on a stick or another machine."`
	Every time.Duration `yaml:"every" least:"1h" most:"366d" default:"1d" help:"How often."`
	Keep  int           `yaml:"keep" kind:"a number of copies" default:"14" help:"How many are kept; an old one goes when a new one has been found good."`
	Disk  Disk          `yaml:"disk" kind:"a disk" words:"other same" default:"other" help:"other: nothing is copied while the folder lies on the disk of the journal or of the system, as where a stick is not mounted. same: it may."`
}

// A Disk says where copies may lie.
type Disk string

const (
	OtherDisk Disk = "other"
	SameDisk  Disk = "same"
)
