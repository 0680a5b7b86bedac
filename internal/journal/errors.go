package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
	"modernc.org/sqlite"
	codes "modernc.org/sqlite/lib"
)

// What a caller can act on. Every error of this package that has one of these
// causes wraps it.
var (
	ErrFull     = errors.New("no room left on the disk")
	ErrReadOnly = errors.New("the journal can only be read")
	ErrDamaged  = errors.New("the journal file is damaged")
	ErrDisk     = errors.New("the disk reports an error")
	ErrInUse    = errors.New("another binwatchd has the journal open")
	ErrLocked   = errors.New("another program (a database shell, say, or one that copies) keeps the journal file locked")
	ErrNewer    = errors.New("the journal was written by a newer binwatchd")
	ErrClosed   = errors.New("the journal is closed")
)

// classify adds to an error of SQLite the cause a caller can act on. The low
// byte of a result code is its class (SQLite, "Result and Error Codes").
func classify(err error) error {
	var se *sqlite.Error
	if !errors.As(err, &se) {
		return err
	}
	cause := causeOf(se.Code())
	if cause == nil || errors.Is(err, cause) {
		return err
	}
	return fmt.Errorf("%w: %w", cause, err)
}

// fullAt adds ErrFull to a disk error where the disk of path has no room. SQLite
// says so itself only of some writes; of the file it shares between processes,
// which it makes anew after a clean stop, it says no more than that the disk
// reports an error, or, where no new file can be made, that it can't be opened.
func fullAt(path string, err error) error {
	if errors.Is(err, ErrFull) {
		return err
	}
	var disk unix.Statfs_t
	if unix.Statfs(filepath.Dir(path), &disk) != nil {
		return err
	}
	room := disk.Bavail
	if os.Geteuid() == 0 {
		room = disk.Bfree // some is kept back for root
	}
	noRoom, noNames := room == 0, disk.Files > 0 && disk.Ffree == 0
	if errors.Is(err, ErrDisk) && noRoom || errors.Is(err, ErrReadOnly) && noNames {
		return fmt.Errorf("%w: %w", ErrFull, err)
	}
	return err
}

// fileDamaged tells whether SQLite itself says that its file does not hang
// together, as against one packed body that can't be read.
func fileDamaged(err error) bool {
	var se *sqlite.Error
	return errors.As(err, &se) && causeOf(se.Code()) == ErrDamaged
}

func causeOf(code int) error {
	switch code & 0xff {
	case codes.SQLITE_FULL:
		return ErrFull
	case codes.SQLITE_READONLY, codes.SQLITE_CANTOPEN, codes.SQLITE_PERM, codes.SQLITE_AUTH:
		return ErrReadOnly
	case codes.SQLITE_CORRUPT, codes.SQLITE_NOTADB, codes.SQLITE_FORMAT:
		return ErrDamaged
	case codes.SQLITE_IOERR:
		return ErrDisk
	case codes.SQLITE_BUSY, codes.SQLITE_LOCKED:
		return ErrLocked
	}
	return nil
}
