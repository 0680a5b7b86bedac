package main

import (
	"context"
	"flag"
	"fmt"
	"runtime"
	"runtime/debug"
)

// version is set by the release build.
var version = ""

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
