package journal

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// lockSuffix names the file beside the journal by which daemons keep clear of
// each other before they look at the journal itself.
const lockSuffix = ".lock"

// takeLock makes sure that one process at a time writes. It locks a file of its
// own: opening and closing the database file here would drop SQLite's locks on
// it, which belong to the process and not to the descriptor (fcntl(2)).
func takeLock(path string) (*os.File, error) {
	f, err := os.OpenFile(path+lockSuffix, os.O_RDWR|os.O_CREATE, 0o640)
	if errors.Is(err, os.ErrPermission) || errors.Is(err, unix.EROFS) {
		return nil, fmt.Errorf("open journal: %w: %w", ErrReadOnly, err)
	}
	if err != nil {
		return nil, fmt.Errorf("open journal: %w", err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("open journal %s: %w", path, ErrInUse)
		}
		return nil, fmt.Errorf("lock journal: %w", err)
	}
	return f, nil
}
