// Package deploy_test holds the packages, the unit and the manual to what they
// promise: it builds them by the project's own Makefile, and installs one in a
// root of its own, which is thrown away. Nothing is installed on this machine.
// deploy/try-unit.sh goes further, for those who are root on a machine of their
// own: it starts the unit under a real systemd.
package deploy_test

import (
	"debug/buildinfo"
	"debug/elf"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// scratch is where all tests of this package build.
var scratch string

// TestMain starts the tests over under fakeroot where they are not run by
// root: dpkg and the scripts of a package want to own files.
func TestMain(m *testing.M) {
	if os.Geteuid() != 0 && os.Getenv("FAKEROOTKEY") == "" {
		path, err := exec.LookPath("fakeroot")
		if err == nil {
			err = syscall.Exec(path, append([]string{path, "--"}, os.Args...), os.Environ())
		}
		fmt.Fprintln(os.Stderr, "who is not root needs fakeroot for these tests:", err)
		os.Exit(1)
	}
	var err error
	if scratch, err = os.MkdirTemp("", "binwatchd-deploy-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(scratch)
	os.Exit(code)
}

// made has the Makefile build the binaries, the packager and the papers, once.
var made = sync.OnceValue(func() error {
	cmd := exec.Command("make", "--no-print-directory", "-C", "..", "cross", "packager", "papers",
		"OUT="+scratch, "DIST="+scratch, "VERSION="+firstVersion)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("make: %w\n%s", err, out)
	}
	return nil
})

// build gives the path of something the Makefile builds.
func build(t *testing.T, name string) string {
	t.Helper()
	if err := made(); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(scratch, name)
}

// machine is what Debian calls the architecture of the machine at hand.
func machine() string {
	if runtime.GOARCH == "arm" {
		return "armhf"
	}
	return runtime.GOARCH
}

// native is the binary that runs here.
func native(t *testing.T) string {
	t.Helper()
	return build(t, "binwatchd-"+machine())
}

// run runs a command to its end and gives all it says.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// A static file names no interpreter and needs no library (ELF gABI, program
// header PT_INTERP and dynamic tag DT_NEEDED). The instruction set is what the
// toolchain noted: a Pi Zero has ARMv6, and faults on anything newer.
func TestBinariesAreStaticAndForTheirMachine(t *testing.T) {
	tests := []struct {
		name     string
		machine  elf.Machine
		settings map[string]string
	}{
		{"binwatchd-armhf", elf.EM_ARM, map[string]string{"GOARCH": "arm", "GOARM": "6"}},
		{"binwatchd-arm64", elf.EM_AARCH64, map[string]string{"GOARCH": "arm64"}},
		{"binwatchd-amd64", elf.EM_X86_64, map[string]string{"GOARCH": "amd64", "GOAMD64": "v1"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := build(t, tt.name)
			f, err := elf.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			if f.Machine != tt.machine {
				t.Errorf("got machine %s, want %s", f.Machine, tt.machine)
			}
			for _, p := range f.Progs {
				if p.Type == elf.PT_INTERP || p.Type == elf.PT_DYNAMIC {
					t.Errorf("it has a %s segment: not static", p.Type)
				}
			}
			if libs, err := f.ImportedLibraries(); err != nil || len(libs) > 0 {
				t.Errorf("it needs libraries %q (%v)", libs, err)
			}
			if f.Section(".symtab") != nil {
				t.Error("it carries its symbols: twice the size on a card")
			}
			checkSettings(t, path, tt.settings)
		})
	}
}

func checkSettings(t *testing.T, path string, want map[string]string) {
	t.Helper()
	info, err := buildinfo.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want["CGO_ENABLED"], want["GOOS"], want["-trimpath"] = "0", "linux", "true"
	got := map[string]string{}
	for _, s := range info.Settings {
		if _, asked := want[s.Key]; asked {
			got[s.Key] = s.Value
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
