package main

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const sector = 512

// handLog writes a log by the words of the kernel's documentation of
// dm-log-writes, not by the code that reads it.
func handLog(t *testing.T, entries ...[]byte) *writeLog {
	t.Helper()
	super := make([]byte, sector)
	binary.LittleEndian.PutUint64(super[0:], 0x6a736677736872) // magic
	binary.LittleEndian.PutUint64(super[8:], 1)                // version
	binary.LittleEndian.PutUint64(super[16:], uint64(len(entries)))
	binary.LittleEndian.PutUint32(super[24:], sector)
	path := filepath.Join(t.TempDir(), "log")
	if err := os.WriteFile(path, append(super, bytes.Join(entries, nil)...), 0o600); err != nil {
		t.Fatal(err)
	}
	l, err := openLog(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.file.Close() })
	return l
}

func head(at, n, flags uint64) []byte {
	b := make([]byte, sector)
	binary.LittleEndian.PutUint64(b[0:], at)
	binary.LittleEndian.PutUint64(b[8:], n)
	binary.LittleEndian.PutUint64(b[16:], flags)
	return b
}

// wrote is an entry that writes one letter to each sector.
func wrote(at uint64, letters string) []byte {
	b := head(at, uint64(len(letters)), 0)
	for _, c := range letters {
		b = append(b, bytes.Repeat([]byte(string(c)), sector)...)
	}
	return b
}

var flush = head(0, 0, 1)

// memory is a disk.
type memory []byte

func (m memory) ReadAt(b []byte, at int64) (int, error)  { return copy(b, m[at:]), nil }
func (m memory) WriteAt(b []byte, at int64) (int, error) { return copy(m[at:], b), nil }

// letters shows a disk, one letter a sector; two where a sector is torn.
func (m memory) letters() string {
	var s strings.Builder
	for at := 0; at < len(m); at += sector {
		s.WriteByte(m[at])
		if m[at] != m[at+sector-1] {
			s.WriteByte(m[at+sector-1])
		}
	}
	return s.String()
}

func blank(letters string) memory { return wrote(0, letters)[sector:] }

// found is the disk after a cut, played as replay does.
func found(t *testing.T, l *writeLog, c cut) string {
	t.Helper()
	origin, d := blank("......"), blank("......")
	for _, e := range l.entries[:l.settled(c.entry)] {
		if err := l.play(d, e, nil); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.strike(d, origin, c); err != nil {
		t.Fatal(err)
	}
	return d.letters()
}

func TestWhatTheDiskHoldsAfterACut(t *testing.T) {
	// entries: 0 writes, 1 writes, 2 flushes, 3 writes over and beside, 4 discards, 5 writes, 6 flushes
	l := handLog(t, wrote(0, "ab"), wrote(2, "c"), flush, wrote(1, "XYZ"), head(0, 1, 4), wrote(5, "w"), flush)
	for _, tc := range []struct {
		name string
		cut  cut
		want string
	}{
		{"before the first flush all may arrive", cut{entry: 1, fate: inOrder}, "abc..."},
		{"the flush itself", cut{entry: 2, fate: atFlush}, "abc..."},
		{"behind it, in order", cut{entry: 3, fate: inOrder}, "aXYZ.."},
		{"a discard is no write", cut{entry: 5, fate: inOrder}, "aXYZ.w"},
		{"the second flush", cut{entry: 6, fate: atFlush}, "aXYZ.w"},
	} {
		if got := found(t, l, tc.cut); got != tc.want {
			t.Errorf("%s: got %s, want %s", tc.name, got, tc.want)
		}
	}
}

// What was not flushed arrives or not, whichever: over many seeds every outcome
// is met, and no other.
func TestWhatWasNotFlushedArrivesOrNot(t *testing.T) {
	l := handLog(t, wrote(0, "ab"), flush, wrote(1, "X"), wrote(2, "YZ"))
	for f, want := range map[fate]map[string]bool{
		some: {"ab....": true, "aX....": true, "abYZ..": true, "aXYZ..": true},
		torn: {"ab....": true, "aX....": true, "abYZ..": true, "aXYZ..": true, "abY...": true, "ab.Z..": true, "aXY...": true, "aX.Z..": true},
	} {
		got := map[string]bool{}
		for seed := range uint64(500) {
			got[found(t, l, cut{entry: 3, fate: f, seed: seed})] = true
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", f, diff)
		}
	}
}

// A disk that lies takes the last sector of one of the last three writes back that
// it called safe.
func TestADiskThatLies(t *testing.T) {
	l := handLog(t, wrote(0, "ab"), wrote(2, "c"), flush, wrote(1, "XYZ"), wrote(5, "w"), flush)
	for f, want := range map[fate]map[string]bool{
		lostTail: {"aXYZ..": true, "aXY..w": true, "aXYZ.w": true}, // what was written over since is not missed
		tornTail: {"aXYZ.w.": true, "aXYZ..w": true, "aXYZ.w": true},
	} {
		got := map[string]bool{}
		for seed := range uint64(100) {
			got[found(t, l, cut{entry: 5, fate: f, seed: seed})] = true
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", f, diff)
		}
	}
}

// A write that the disk was told to make safe by itself is safe, and nothing before it.
func TestAWriteThatIsSafeByItself(t *testing.T) {
	safe := head(1, 1, 2)
	safe = append(safe, bytes.Repeat([]byte("S"), sector)...)
	l := handLog(t, wrote(0, "a"), safe)
	got := map[string]bool{}
	for seed := range uint64(100) {
		got[found(t, l, cut{entry: 1, fate: some, seed: seed})] = true
	}
	if diff := cmp.Diff(map[string]bool{"aS....": true, ".S....": true}, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestALogThatIsNone(t *testing.T) {
	for name, text := range map[string]string{"empty": "", "another": strings.Repeat("x", 2*sector)} {
		path := filepath.Join(t.TempDir(), "log")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := openLog(path); err == nil {
			t.Errorf("%s: got no error", name)
		}
	}
}

// A packet of MQTT as its standard gives it: a PUBLISH of a/b with packet id 10
// (MQTT 3.1.1, figure 3.11), here with one of our messages, and its PUBACK.
func TestTheRelayKnowsWhatIsAcknowledged(t *testing.T) {
	u := &underWay{keys: map[uint16]string{}}
	body := append([]byte{0, 10}, "cellar/t01\x00\x0a"+`{"v":20,"at":"2026-05-01T00:00:00.250Z"}`...)
	u.published(packet{kind: 3, flags: 2, body: body})
	if key, ok := u.acknowledged(packet{kind: 4, body: []byte{0, 11}}); ok {
		t.Errorf("got %q for a packet that was not published", key)
	}
	if key, ok := u.acknowledged(packet{kind: 4, body: []byte{0, 10}}); !ok || key != "t01 1777593600250" {
		t.Errorf("got %q, want the reading of t01 at 1777593600250", key)
	}
	if key, ok := u.acknowledged(packet{kind: 4, body: []byte{0, 10}}); ok {
		t.Errorf("got %q a second time", key)
	}
}
