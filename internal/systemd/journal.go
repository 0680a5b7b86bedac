package systemd

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// InJournal tells whether a file is the stream that systemd has connected with its
// journal: $JOURNAL_STREAM names that by device and inode, so that what was led
// elsewhere since is not taken for it (systemd.exec(5)).
func InJournal(getenv func(string) string, f *os.File) bool {
	var st unix.Stat_t
	if unix.Fstat(int(f.Fd()), &st) != nil {
		return false
	}
	return getenv("JOURNAL_STREAM") == fmt.Sprintf("%d:%d", st.Dev, st.Ino)
}
