package journal

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"
)

// A MovedError tells that the journal's path no longer names what this process
// has open, or not whole. What is written then has no name and is gone with the
// process, so nothing is.
type MovedError struct {
	Path string
	What What
}

// What has become of the file of a journal that is open.
type What int

const (
	Gone      What = iota + 1 // the path names nothing
	Replaced                  // the path names another file
	CutShort                  // the file is shorter than it was
	Rewritten                 // another program has written into the file
	LogGone                   // a file that SQLite keeps beside it was taken away or replaced
	LogCut                    // the log is shorter than what it is to hold
	Taken                     // another binwatchd has begun a journal at the path
)

func (e *MovedError) Error() string {
	return map[What]string{
		Gone:      "the journal's file " + e.Path + " was deleted or moved away while the daemon runs",
		Replaced:  "another file lies where the daemon has its journal, " + e.Path,
		CutShort:  "the journal's file " + e.Path + " was cut short while the daemon runs",
		Rewritten: "another program has written over the journal's file " + e.Path,
		LogGone:   "the journal's log was taken away while the daemon runs (the files -wal and -shm beside " + e.Path + ")",
		LogCut:    "the end of the journal's log was cut off while the daemon runs (the file -wal beside " + e.Path + ")",
		Taken:     "another binwatchd has begun a journal at " + e.Path,
	}[e.What]
}

// Open tells whether all that was acknowledged is in what this process has open,
// so that it can be saved from there.
func (e *MovedError) Open() bool {
	return e.What != CutShort && e.What != Rewritten && e.What != LogCut
}

// besides are the files that SQLite keeps beside the journal while it is open.
var besides = [...]string{"-wal", "-shm"}

// An identity is the file that a journal has open, and how it was left by the last
// write of our own. Its own descriptor is closed after SQLite's: closing one
// drops the locks of the whole process on that file (fcntl(2)).
type identity struct {
	path   string
	real   string      // without links: beside it SQLite keeps its log
	info   os.FileInfo // of the file
	dir    os.FileInfo // the folder of path; nil: it could not be looked at
	beside atomic.Pointer[[len(besides)]os.FileInfo]

	// The journal's mu guards the rest.
	file    *os.File
	index   *os.File   // of the log: -shm, read to know what the log is to hold
	opened  []*os.File // these two, and what was the index before
	left    fileState  // by the last write of our own; zero: there was none
	strange time.Time  // of a write that another did and that left it broken; zero: none
}

// A fileState is how a file was left by a write.
type fileState struct {
	size    int64
	written time.Time
	head    [fileHead]byte
	filed   index // how far the log was brought into the file
}

// fileHead is the length of the header of a database file.
const fileHead = 100

// lockByte lies far behind the bytes that SQLite locks (its file format,
// "locking bytes", at 1 GiB) and behind any journal's end.
const lockByte = 1 << 42

// identify takes hold of the file at a path, which SQLite does not have open yet.
func identify(path string) (*identity, error) {
	f, err := openFile(path, os.O_RDWR)
	if err != nil {
		return nil, err
	}
	id := &identity{path: path, real: path, file: f, opened: []*os.File{f}}
	if err := id.take(); err != nil {
		f.Close()
		return nil, err
	}
	return id, nil
}

// take locks the file against other daemons under whatever name they know it: the
// lock belongs to the file, and not to a path.
func (f *identity) take() error {
	lock := unix.Flock_t{Type: unix.F_WRLCK, Start: lockByte, Len: 1}
	err := unix.FcntlFlock(f.file.Fd(), unix.F_OFD_SETLK, &lock)
	switch {
	case errors.Is(err, unix.EAGAIN), errors.Is(err, unix.EACCES):
		return fmt.Errorf("open journal %s: %w", f.path, ErrInUse)
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOLCK), errors.Is(err, unix.EOPNOTSUPP):
		// A file system without such locks: the lock beside the file has to do.
	case err != nil:
		return fmt.Errorf("lock journal: %w", err)
	}
	if real, err := filepath.EvalSymlinks(f.path); err == nil {
		f.real = real
	}
	f.dir, _ = os.Stat(filepath.Dir(f.path))
	if f.info, err = f.file.Stat(); err != nil {
		return fmt.Errorf("look at the journal's file: %w", err)
	}
	return f.named()
}

// names tells whether a path names a file.
func names(path string, file os.FileInfo) bool {
	is, err := os.Stat(path)
	return err == nil && os.SameFile(is, file)
}

// close lets go of the file, once SQLite has.
func (f *identity) close() (err error) {
	if f == nil {
		return nil
	}
	for _, o := range f.opened {
		err = errors.Join(err, o.Close())
	}
	return err
}

// named tells whether the path still names the file.
func (f *identity) named() error {
	is, err := os.Stat(f.path)
	switch {
	case errors.Is(err, os.ErrNotExist), errors.Is(err, unix.ENOTDIR):
		return &MovedError{f.path, Gone}
	case err != nil:
		return fmt.Errorf("look for the journal's file: %w", err)
	case !os.SameFile(is, f.info):
		return &MovedError{f.path, Replaced}
	}
	return nil
}

// same tells whether the path names the file, and the log beside it is the one
// that is open. Any goroutine may ask.
func (f *identity) same() error {
	if f == nil {
		return nil
	}
	if err := f.named(); err != nil {
		return err
	}
	beside := f.beside.Load()
	for i, suffix := range besides {
		if beside == nil || beside[i] == nil {
			return nil // there was none after the last write
		}
		if !names(f.real+suffix, beside[i]) { // perhaps with the file, since that was looked at
			return cmp.Or(f.named(), error(&MovedError{f.path, LogGone}))
		}
	}
	return nil
}

// whole tells whether the file and its log are the same, and neither has lost its
// end. Nothing is written meanwhile.
func (f *identity) whole() error {
	if err := f.same(); f == nil || err != nil {
		return err
	}
	is, err := f.file.Stat()
	switch {
	case err != nil:
		return fmt.Errorf("look at the journal's file: %w", err)
	case is.Size() < f.left.size:
		return &MovedError{f.path, CutShort}
	case f.logCut(): // or was taken away since it was looked at
		return cmp.Or(f.same(), error(&MovedError{f.path, LogCut}))
	}
	return nil
}

// logCut tells whether the log is shorter than its index says. The index may be
// written to meanwhile, by a checkpoint or by a person with SQLite's own tools:
// what is seen between two readings of it that differ says nothing.
func (f *identity) logCut() bool {
	beside := f.beside.Load()
	if f.index == nil || beside == nil || beside[0] == nil {
		return false
	}
	for holds := logHolds(f.index); holds > 0; {
		log, err := os.Stat(f.real + besides[0])
		if err == nil && log.Size() >= holds {
			return false
		}
		again := logHolds(f.index)
		if again == holds {
			return true
		}
		holds = again
	}
	return false
}

// note takes the file as it is now for sound: after a write of our own.
func (f *identity) note() {
	if f == nil {
		return
	}
	f.noteBeside()
	if now, err := f.look(); err == nil {
		f.left, f.strange = now, time.Time{}
	}
}

// look gives how the file is now.
func (f *identity) look() (fileState, error) {
	is, err := f.file.Stat()
	if err != nil {
		return fileState{}, err
	}
	now := fileState{size: is.Size(), written: is.ModTime()}
	_, _ = f.file.ReadAt(now.head[:], 0) // what can't be read differs from what could
	if f.index != nil {
		var b [indexHead]byte
		_, _ = f.index.ReadAt(b[:], 0)
		now.filed = readIndex(b[:])
	}
	return now, nil
}

// bySQLite tells whether a write of another program can have been SQLite's, which
// brings the log into the file and says so in the log's index; or none at all, for
// the time of a file can be set.
func (f *identity) bySQLite() bool {
	now, err := f.look()
	return err == nil && (now.filed != f.left.filed || now.size == f.left.size && now.head == f.left.head)
}

// noteBeside takes the files beside as they are now for those in use. The log's index
// is kept open, under the file that has the name now. The one before stays open, too:
// see identity.
func (f *identity) noteBeside() {
	var beside [len(besides)]os.FileInfo
	for i, suffix := range besides {
		beside[i], _ = os.Stat(f.real + suffix) // nil where there is none
	}
	f.beside.Store(&beside)
	is := beside[1]
	if f.index != nil {
		if was, err := f.index.Stat(); is != nil && err == nil && os.SameFile(is, was) {
			return
		}
	}
	f.index = nil
	if is == nil {
		return
	}
	if index, err := os.Open(f.real + besides[1]); err == nil {
		f.index, f.opened = index, append(f.opened, index)
	}
}

// InPlace tells whether the journal's path still names the file that is open, with
// all that was written to it; the error wraps a [MovedError] when it does not. A
// journal that was opened for reading is always in place. It is cheap.
func (j *Journal) InPlace() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.closed.Load() {
		return nil
	}
	err := j.inPlace(context.Background())
	if taken := j.keepLock(); err == nil {
		err = taken
	}
	return err
}

// inPlace is InPlace for a caller that holds mu. What another program has
// written into the file is looked at: it may have been a person with SQLite's own
// tools, who does no harm.
func (j *Journal) inPlace(ctx context.Context) error {
	f := j.identity.Load()
	if err := f.whole(); f == nil || err != nil {
		return err
	}
	is, err := f.file.Stat()
	switch {
	case err != nil, f.left.written.IsZero(), is.ModTime().Equal(f.left.written):
		return nil
	case is.ModTime().Equal(f.strange):
		return &MovedError{f.path, Rewritten}
	}
	err = j.soundAnew(ctx)
	if err == nil && !f.bySQLite() {
		err = errors.New("its first page is another one")
	}
	if err != nil {
		f.strange = is.ModTime()
		j.log.Error("another program has written over the journal's file", "path", f.path, "found", err)
		return &MovedError{f.path, Rewritten}
	}
	j.log.Warn("another program has written into the journal's file; it is sound", "path", f.path)
	f.note()
	return nil
}

// soundAnew reads the whole file with a connection that remembers nothing of it.
func (j *Journal) soundAnew(ctx context.Context) error {
	db, err := openPool(dataSource(j.cfg.Path, "ro", queryOnly), 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if err := checkFile(ctx, db, quickCheck); err != nil {
		return err
	}
	var h head
	if err := transact(ctx, db, true, func(t *tx) { h = readHead(t) }); err != nil {
		return classify(err)
	}
	if j.head.known && (h.id != j.head.id || h.next != j.head.next) {
		return errors.New("it holds another journal, or another time of this one")
	}
	return nil
}

// keepLock sees to it that the lock beside the journal is where another daemon
// would look for it: it may have been moved with the file. The caller holds mu.
func (j *Journal) keepLock() error {
	f := j.identity.Load()
	if j.lock == nil || f == nil || f.dir == nil || !names(filepath.Dir(f.path), f.dir) {
		return nil // a file in what is mounted there would keep it from being taken off
	}
	if was, err := j.lock.Stat(); err == nil && names(j.cfg.Path+lockSuffix, was) {
		return nil
	}
	lock, err := takeLock(j.cfg.Path, j.cfg.Brief)
	switch {
	case errors.Is(err, ErrInUse):
		return &MovedError{j.cfg.Path, Taken}
	case err != nil:
		return nil // no directory to put it in, or no room: the file is looked for itself
	}
	was := j.lock
	j.lock = lock
	j.log.Warn("the lock beside the journal was gone; it is there again", "path", j.cfg.Path+lockSuffix)
	return was.Close()
}
