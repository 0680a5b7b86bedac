package main

import (
	"context"
	"flag"
	"fmt"
	"runtime"
	"runtime/debug"
	"time"
)

// version is set by the release build.
var version = ""

// built is a moment that no true time is earlier than: when this source was
// written. A clock that shows less has not been set yet.
var built = time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)

func versionCommand() command {
	c := command{name: "version", does: "prints the version"}
	c.run = func(_ context.Context, args []string, io *streams) error {
		words, err := parse(c, flag.NewFlagSet(c.name, flag.ContinueOnError), args, io)
		if err != nil {
			return err
		}
		if err := noWords(words); err != nil {
			return err
		}
		fmt.Fprintf(io.out, "binwatchd %s (%s, %s/%s)\n", versionName(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
		return nil
	}
	return c
}

// versionName falls back to what the Go toolchain knows of the build.
func versionName() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" || info.Main.Version == "(devel)" {
		return "development"
	}
	return info.Main.Version
}
