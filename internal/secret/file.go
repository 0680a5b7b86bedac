package secret

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// Bounds of the files that a configuration names, in bytes, so that a wrong path
// (a device, a journal) is not read to its end.
const (
	largestSecret = 64 << 10
	largestBundle = 4 << 20 // the certificates of all authorities in the world are a quarter of a MiB
)

// ReadPlain reads a file of certificates. What is no plain file (a folder, a
// pipe, a device) is refused at once: reading it could take for ever.
func ReadPlain(path string) ([]byte, error) {
	text, _, err := readPlain(path, largestBundle)
	return text, err
}

// readPlain gives the mode of the file too. Its errors name the path where the
// system's own don't.
func readPlain(path string, most int) (text []byte, mode fs.FileMode, err error) {
	// Without O_NONBLOCK opening a pipe waits for somebody to write into it.
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, 0, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, fmt.Errorf("%s is %s, not a plain file", path, whatIs(info.Mode()))
	}
	text, err = io.ReadAll(io.LimitReader(f, int64(most)+1))
	if err != nil {
		return nil, 0, err
	}
	if len(text) > most {
		return nil, 0, fmt.Errorf("%s is larger than %d KiB", path, most>>10)
	}
	return text, info.Mode(), nil
}

// whatIs names what is no plain file.
func whatIs(mode fs.FileMode) string {
	switch {
	case mode.IsDir():
		return "a folder"
	case mode&fs.ModeNamedPipe != 0:
		return "a pipe"
	case mode&fs.ModeSocket != 0:
		return "a socket"
	case mode&fs.ModeDevice != 0:
		return "a device"
	}
	return "something else"
}

// Unreachable tells whether what is wrong with a file or a secret is only that
// it can't be reached from here, which on another machine or for another user may
// be different.
func Unreachable(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) || errors.As(err, new(notHere))
}

// othersMay are the permission bits by which anybody on the machine could
// read or replace a secret; its group may read it.
const othersMay = 0o006

// notHere says that a secret is kept from whoever looks, which on another
// machine or for another user it may not be.
type notHere string

func (e notHere) Error() string { return string(e) }

// ReadKey reads the file of a private key, by the rule for secrets: one that
// everybody may read or write is refused.
func ReadKey(path string) ([]byte, error) {
	text, err := readClosed(path)
	if err != nil {
		return nil, fmt.Errorf("private key %s: %w", path, err)
	}
	return []byte(text), nil
}

// readClosed reads a file that is closed to others.
func readClosed(path string) (string, error) {
	text, mode, err := readPlain(path, largestSecret)
	if pe := (*fs.PathError)(nil); errors.As(err, &pe) {
		return "", pe.Err // the path is in the source already
	}
	switch {
	case err != nil:
		return "", err
	case mode.Perm()&othersMay != 0:
		return "", fmt.Errorf("everybody may read or write %s; close it with: chmod o= %s", path, path)
	}
	return string(text), nil
}
