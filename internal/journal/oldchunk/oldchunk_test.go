package oldchunk_test

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"binwatchd/internal/journal/oldchunk"
)

func hard(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/hard.chunk")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The rows are those that the writer of that time was given.
func TestRowsComeBackBitByBit(t *testing.T) {
	want, err := os.ReadFile("testdata/hard.txt")
	if err != nil {
		t.Fatal(err)
	}
	plain, err := oldchunk.Inflate(hard(t))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := oldchunk.Rows(plain)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(want)), "\n")
	if len(rows) != len(lines) {
		t.Fatalf("got %d rows, want %d", len(rows), len(lines))
	}
	for i, r := range rows {
		got := fmt.Sprintf("%d %d %d %d %x %x %d", r.Seq, r.Arrived, r.Series, r.Stamp, math.Float64bits(r.Raw), math.Float64bits(r.Value), r.Marks)
		if got != lines[i] {
			t.Fatalf("row %d: got %s, want %s", i, got, lines[i])
		}
	}
}

func TestInflateRefusesWhatIsNotWhole(t *testing.T) {
	body := hard(t)
	whole, err := oldchunk.Inflate(body)
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(body); i += 13 {
		broken := append([]byte(nil), body...)
		broken[i] ^= 1 << (i % 8)
		if got, err := oldchunk.Inflate(broken); err == nil && string(got) != string(whole) {
			t.Fatalf("byte %d changed: other bytes came without an error", i)
		}
		if _, err := oldchunk.Inflate(body[:i]); err == nil {
			t.Fatalf("cut to %d bytes: no error", i)
		}
	}
}

// FuzzRows looks behind the check sum: whatever bytes a card gives back, the
// reader must not panic nor take memory without end.
func FuzzRows(f *testing.F) {
	plain, err := oldchunk.Inflate(hard(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(plain)
	f.Add([]byte{})
	f.Add([]byte{1, 0xff, 0xff, 0x3f})
	f.Fuzz(func(t *testing.T, b []byte) {
		if rows, err := oldchunk.Rows(b); err == nil && len(rows) > len(b) {
			t.Errorf("got %d rows of %d bytes", len(rows), len(b))
		}
	})
}
