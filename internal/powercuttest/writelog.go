package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"slices"
)

// The log of writes has the form of Linux's dm-log-writes target
// (Documentation/admin-guide/device-mapper/log-writes.rst, and the structures in
// drivers/md/dm-log-writes.c): a first sector that says how many entries follow,
// then each entry's head in a sector of its own, and after it what was written.
const (
	logMagic   = 0x6a736677736872
	logVersion = 1

	flagFlush   = 1 // all that was written before is safe from here on
	flagFUA     = 2 // this write is safe as soon as it is answered
	flagDiscard = 4
)

// An entry is one request to the disk, in the order of the answers.
type entry struct {
	sector, sectors, flags uint64
	data                   int64 // where what was written lies in the log
	end                    int64 // of the entry, in bytes of the log
}

// writes tells whether the entry changes the disk.
func (e entry) writes() bool { return e.sectors > 0 && e.flags&flagDiscard == 0 }

// has tells whether the entry changes a sector.
func (e entry) has(sector uint64) bool {
	return e.writes() && e.sector <= sector && sector < e.sector+e.sectors
}

// A writeLog is what was asked of a disk.
type writeLog struct {
	file       *os.File
	sectorSize int64
	entries    []entry
}

// openLog reads the heads of all entries.
func openLog(path string) (*writeLog, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	l := &writeLog{file: f}
	if err := l.readHeads(); err != nil {
		f.Close()
		return nil, fmt.Errorf("read the log of writes %s: %w", path, err)
	}
	return l, nil
}

func (l *writeLog) readHeads() error {
	var super struct {
		Magic, Version, Entries uint64
		SectorSize              uint32
	}
	if err := l.readAt(&super, 0); err != nil {
		return err
	}
	if super.Magic != logMagic || super.Version != logVersion || super.SectorSize < 512 {
		return fmt.Errorf("not a log of writes of version %d: %+v", logVersion, super)
	}
	l.sectorSize = int64(super.SectorSize)
	at := l.sectorSize
	for range super.Entries {
		var head struct{ Sector, Sectors, Flags, DataLen uint64 }
		if err := l.readAt(&head, at); err != nil {
			return err
		}
		e := entry{sector: head.Sector, sectors: head.Sectors, flags: head.Flags, data: at + l.sectorSize}
		e.end = e.data
		if e.writes() {
			e.end += int64(e.sectors) * l.sectorSize
		}
		l.entries, at = append(l.entries, e), e.end
	}
	return nil
}

func (l *writeLog) readAt(into any, at int64) error {
	b := make([]byte, binary.Size(into))
	if _, err := l.file.ReadAt(b, at); err != nil {
		return fmt.Errorf("at byte %d: %w", at, err)
	}
	return binary.Read(bytes.NewReader(b), binary.LittleEndian, into)
}

// A disk is where a log is played back to.
type disk interface {
	io.ReaderAt
	io.WriterAt
}

// play writes one entry to a disk; kept says of each of its sectors, from 0,
// whether it arrived. nil: all did.
func (l *writeLog) play(d disk, e entry, kept func(i uint64) bool) error {
	if !e.writes() {
		return nil
	}
	data := make([]byte, int64(e.sectors)*l.sectorSize)
	if _, err := l.file.ReadAt(data, e.data); err != nil {
		return fmt.Errorf("read what was written to sector %d: %w", e.sector, err)
	}
	if kept == nil {
		_, err := d.WriteAt(data, int64(e.sector)*l.sectorSize)
		return err
	}
	for i := range e.sectors {
		if !kept(i) {
			continue
		}
		at := int64(i) * l.sectorSize
		if _, err := d.WriteAt(data[at:at+l.sectorSize], int64(e.sector)*l.sectorSize+at); err != nil {
			return err
		}
	}
	return nil
}

// A cut is an instant at which the power goes, and what the disk does with what it
// was not yet told to make safe.
type cut struct {
	entry int // the last that was answered
	fate  fate
	seed  uint64
}

// A fate is what becomes of writes in the disk's own memory.
type fate string

const (
	atFlush  fate = "at a flush"                          // there are none
	inOrder  fate = "all written, none flushed"           // they arrived as they were sent
	some     fate = "some written"                        // some of them arrived, whichever
	torn     fate = "some written, some of those in part" // and of some only some sectors
	lostTail fate = "last sector of a flushed write lost" // the disk lied: what it called safe was not
	tornTail fate = "last sector of a flushed write torn" // likewise, and left half of old and new
)

// lies tells whether a disk that does this breaks its promise, so that nobody's
// promise can hold.
func (f fate) lies() bool { return f == lostTail || f == tornTail }

// settled is how many entries, of those up to and including i, are safe whatever
// becomes of the others.
func (l *writeLog) settled(i int) int {
	for ; i >= 0; i-- {
		switch e := l.entries[i]; {
		case e.flags&flagFlush == 0:
		case e.writes() && e.flags&flagFUA == 0:
			return i // it makes safe what came before it
		default:
			return i + 1
		}
	}
	return 0
}

// lastWrite is the index of the last write before an entry but so many; -1: there
// is none.
func (l *writeLog) lastWrite(before, but int) int {
	for i := before - 1; i >= 0; i-- {
		if l.entries[i].writes() {
			if but == 0 {
				return i
			}
			but--
		}
	}
	return -1
}

// strike finishes a disk that has all entries before settled(c.entry) as it is
// found after the cut; origin is the disk as it was before the first entry.
func (l *writeLog) strike(d disk, origin io.ReaderAt, c cut) error {
	safe := l.settled(c.entry)
	dice := rand.New(rand.NewPCG(c.seed, 2))
	if c.fate.lies() {
		return l.spoil(d, origin, l.lastWrite(safe, dice.IntN(3)), safe, c.fate)
	}
	for i := safe; i <= c.entry; i++ {
		var kept func(uint64) bool
		if (c.fate == some || c.fate == torn) && l.entries[i].flags&flagFUA == 0 {
			whole := dice.IntN(2) == 0
			part := !whole && c.fate == torn && dice.IntN(2) == 0
			kept = func(uint64) bool { return whole || part && dice.IntN(2) == 0 }
		}
		if err := l.play(d, l.entries[i], kept); err != nil {
			return err
		}
	}
	return nil
}

// spoil takes the last sector of a safe write away: it is what it was before, or of
// the new one only the first half arrived.
func (l *writeLog) spoil(d disk, origin io.ReaderAt, last, safe int, f fate) error {
	if last < 0 {
		return nil // nothing was written yet
	}
	e := l.entries[last]
	sector := e.sector + e.sectors - 1
	if slices.ContainsFunc(l.entries[last+1:safe], func(e entry) bool { return e.has(sector) }) {
		return nil // it was written over since
	}
	old, err := l.before(origin, last, sector)
	if err != nil {
		return err
	}
	if f == tornTail {
		half := l.sectorSize / 2
		if _, err := l.file.ReadAt(old[:half], e.data+int64(e.sectors-1)*l.sectorSize); err != nil {
			return err
		}
	}
	_, err = d.WriteAt(old, int64(sector)*l.sectorSize)
	return err
}

// before gives what a sector held before an entry was played.
func (l *writeLog) before(origin io.ReaderAt, i int, sector uint64) ([]byte, error) {
	old := make([]byte, l.sectorSize)
	for i--; i >= 0; i-- {
		if e := l.entries[i]; e.has(sector) {
			_, err := l.file.ReadAt(old, e.data+int64(sector-e.sector)*l.sectorSize)
			return old, err
		}
	}
	_, err := origin.ReadAt(old, int64(sector)*l.sectorSize)
	return old, err
}
