package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
)

// full is a device with no space left.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

// A script that keeps what a command prints must learn when nothing was kept.
func TestAnAnswerThatCannotBeWrittenIsSaid(t *testing.T) {
	for _, args := range [][]string{{"version"}, {"species"}, {"check", "--schema"}} {
		var talk bytes.Buffer
		code := dispatch(context.Background(), args, &streams{strings.NewReader(""), full{}, &talk})
		if code != exitWrong || !strings.Contains(talk.String(), "no space left on device") {
			t.Errorf("%v: exit code %d, %q; want %d and why", args, code, &talk, exitWrong)
		}
	}
}
