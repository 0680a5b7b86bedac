package journal

import "errors"

// What a caller can act on. Every error of this package that has one of these
// causes wraps it.
var (
	ErrFull     = errors.New("no room left on the disk")
	ErrReadOnly = errors.New("the journal can only be read")
	ErrDamaged  = errors.New("the journal file is damaged")
	ErrDisk     = errors.New("the disk reports an error")
	ErrInUse    = errors.New("another binwatchd has the journal open")
	ErrNewer    = errors.New("the journal was written by a newer binwatchd")
	ErrClosed   = errors.New("the journal is closed")
)
