package main

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"binwatchd/internal/husbandry"
)

// TestTheProgramGoesOnWithoutItsFile: what is let go of comes back as it is used.
func TestTheProgramGoesOnWithoutItsFile(t *testing.T) {
	held := func() (kB int) {
		text, err := os.ReadFile("/proc/self/status")
		if err != nil {
			t.Fatal(err)
		}
		_, rest, _ := strings.Cut(string(text), "RssFile:")
		for _, digit := range strings.TrimSpace(rest[:strings.Index(rest, "kB")]) {
			kB = 10*kB + int(digit-'0')
		}
		return kB
	}
	said, before := fmt.Sprint(husbandry.Species()), held()
	for range 3 {
		if err := letGoOfFile(); err != nil {
			t.Fatal(err)
		}
	}
	if after := held(); after >= before {
		t.Errorf("%d kB of files were held before, %d kB after", before, after)
	}
	if again := fmt.Sprint(husbandry.Species()); again != said {
		t.Errorf("the same table says something else after:\n%s", again)
	}
}
