package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
)

// ErrInPlace says that the journal's path names what is open, so that a copy is
// made from there.
var ErrInPlace = errors.New("the journal is in its place")

// CopyOpen writes the whole of a journal to w whose path no longer names it: what
// is open is all there is of it then, and is gone when this process ends. Nothing
// can be written meanwhile, which it could not be anyway. Of a journal that is in
// its place it writes nothing and gives ErrInPlace: see [Journal.Backup].
func (j *Journal) CopyOpen(ctx context.Context, w io.Writer) error {
	var moved *MovedError
	switch err := j.InPlace(); {
	case err == nil:
		return ErrInPlace
	case !errors.As(err, &moved), !moved.Open():
		return fmt.Errorf("there is no whole journal to copy: %w", err)
	}
	if err := j.emptyLog(ctx); err != nil {
		return err
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	f := j.stands.Load()
	if f == nil || j.closed.Load() {
		return ErrClosed
	}
	// The lock keeps other programs from writing while the file is read as it is.
	t, err := j.write.BeginTx(ctx, nil)
	if err != nil {
		return classify(fmt.Errorf("copy the open journal: %w", err))
	}
	defer t.Rollback() // nothing was written
	if err := copyFile(w, f.file); err != nil {
		return fmt.Errorf("copy the open journal: %w", err)
	}
	return nil
}

// copyFile copies a database file whose log is empty, and has the copy's header
// say that it needs no log: bytes 18 and 19 of SQLite's file format.
func copyFile(w io.Writer, f *os.File) error {
	is, err := f.Stat()
	if err != nil {
		return err
	}
	head := make([]byte, 100)
	if _, err := f.ReadAt(head, 0); err != nil {
		return err
	}
	head[18], head[19] = 1, 1
	if _, err := w.Write(head); err != nil {
		return err
	}
	_, err = io.Copy(w, io.NewSectionReader(f, int64(len(head)), is.Size()-int64(len(head))))
	return err
}

// Receive writes a copy that comes from elsewhere to a new file, with the care of
// [Journal.Backup].
func Receive(ctx context.Context, path string, copy io.Reader) error {
	return newCopy(ctx, path, func(part string) error {
		f, err := os.OpenFile(part, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o640)
		if err != nil {
			return fmt.Errorf("backup: %w", err)
		}
		if _, err := io.Copy(f, copy); err != nil {
			return errors.Join(fmt.Errorf("backup: %w", err), f.Close())
		}
		return errors.Join(f.Sync(), f.Close())
	})
}
