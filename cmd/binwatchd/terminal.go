package main

import (
	"io"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// colourful tells whether an answer may be in colour: on a terminal that can show it,
// unless NO_COLOR says that none is wanted (no-color.org).
func colourful(w io.Writer, getenv func(string) string) bool {
	if a, ok := w.(*answer); ok {
		w = a.w
	}
	return getenv("NO_COLOR") == "" && getenv("TERM") != "dumb" && isTerminal(w)
}

// isTerminal tells whether a person sits at the other end.
func isTerminal(of any) bool {
	f, ok := of.(*os.File)
	if !ok {
		return false
	}
	_, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	return err == nil
}

// hideTyping has a terminal not show what is typed, until the function that it gives is called.
func hideTyping(in io.Reader) (show func()) {
	f, ok := in.(*os.File)
	if !ok || !isTerminal(f) {
		return func() {}
	}
	was, err := unix.IoctlGetTermios(int(f.Fd()), unix.TCGETS)
	if err != nil {
		return func() {}
	}
	hidden := *was
	hidden.Lflag &^= unix.ECHO
	_ = unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, &hidden) // at worst it is shown
	return func() { _ = unix.IoctlSetTermios(int(f.Fd()), unix.TCSETS, was) }
}

// A sheet is what is written for a person, in colour or not.
type sheet struct {
	strings.Builder
	colour bool
}

// Styles by ECMA-48, section 8.3.117 (SGR).
const (
	inBold = "1"
	inRed  = "1;31"
)

// styled gives a text in a style, where w is a sheet that may have colour.
func styled(w io.Writer, style, text string) string {
	if s, ok := w.(*sheet); ok && s.colour {
		return "\x1b[" + style + "m" + text + "\x1b[0m"
	}
	return text
}
