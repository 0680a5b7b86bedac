package main

import (
	"cmp"
	"context"
	"flag"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"time"

	"binwatchd/internal/licences"
)

// version is set by the release build.
var version = ""

// built is a moment that no true time is earlier than: when this source was
// written. A clock that shows less has not been set yet.
var built = time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)

func versionWork(fs *flag.FlagSet) work {
	all := fs.Bool("licences", false, "print what modules the program is made of, under which licences, with their texts")
	return work{run: func(_ context.Context, c *call) error {
		if *all {
			printLicences(c.out)
			return nil
		}
		fmt.Fprintf(c.out, "binwatchd %s (%s, %s/%s)\n", versionName(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
		return nil
	}}
}

// versionName falls back to what the Go toolchain knows of the build.
func versionName() string {
	info, ok := debug.ReadBuildInfo()
	if version != "" || !ok || info.Main.Version == "(devel)" {
		return cmp.Or(version, "development")
	}
	return cmp.Or(info.Main.Version, "development")
}

// printLicences names each module with its version, from which its source can be had,
// and its licence; the texts follow.
func printLicences(w io.Writer) {
	fmt.Fprintf(w, "binwatchd is under the MIT licence, copyright 2026 the binwatchd authors. In it are\n\n")
	fmt.Fprintf(w, "  %-44s %-26s %s\n", "Go's standard library", licences.Of(licences.Std), runtime.Version())
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, m := range info.Deps {
			fmt.Fprintf(w, "  %-44s %-26s %s\n", m.Path, licences.Of(m.Path), m.Version)
		}
	}
	fmt.Fprintf(w, "\nThe source of each is what the Go module proxies have under that name and version.\n\n%s", licences.Notices())
}
