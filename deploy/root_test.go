package deploy_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// depended are the packages that ours depends on.
var depended = []string{"systemd", "ca-certificates", "tzdata", "procps"}

// A root is the root directory of a machine that does not exist.
type root struct {
	dir string
}

// newRoot makes what any machine has before binwatchd comes: the packages it
// depends on, and the units and the command that its own unit names.
func newRoot(t *testing.T) root {
	t.Helper()
	r := root{t.TempDir()}
	// Removed by a program that fakeroot hears of, or it would take the next file
	// with the same inode for this one.
	t.Cleanup(func() { run(t, "rm", "-rf", r.dir) })
	for _, dir := range []string{"var/lib/dpkg/updates", "etc", "tmp"} {
		r.mkdir(t, dir)
	}
	var status strings.Builder
	for _, name := range depended {
		fmt.Fprintf(&status, "Package: %s\nStatus: install ok installed\nMaintainer: nobody\nArchitecture: %s\nVersion: 1\nDescription: stands in\n\n", name, machine())
		r.write(t, "var/lib/dpkg/info/"+name+".list", "", 0o644)
	}
	r.write(t, "var/lib/dpkg/status", status.String(), 0o644)
	r.write(t, "usr/bin/kill", "#!/bin/sh\n", 0o755)
	if err := os.Symlink("usr/bin", r.path("bin")); err != nil {
		t.Fatal(err)
	}
	for _, unit := range []string{"sysinit.target", "basic.target", "shutdown.target", "network.target", "multi-user.target"} {
		r.write(t, "usr/lib/systemd/system/"+unit, "[Unit]\nDescription=as on any machine\n", 0o644)
	}
	return r
}

func (r root) path(name string) string { return filepath.Join(r.dir, name) }

func (r root) mkdir(t *testing.T, name string) {
	t.Helper()
	if err := os.MkdirAll(r.path(name), 0o755); err != nil {
		t.Fatal(err)
	}
}

func (r root) write(t *testing.T, name, text string, mode fs.FileMode) {
	t.Helper()
	r.mkdir(t, filepath.Dir(name))
	if err := os.WriteFile(r.path(name), []byte(text), mode); err != nil {
		t.Fatal(err)
	}
}

func (r root) read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(r.path(name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func (r root) has(name string) bool {
	_, err := os.Lstat(r.path(name))
	return !errors.Is(err, fs.ErrNotExist)
}

// dpkg runs the machine's own dpkg on this root. The package's scripts run
// outside of it and are told of it by DPKG_ROOT (dpkg(1), --force-script-chrootless).
func (r root) dpkg(t *testing.T, args ...string) {
	t.Helper()
	if out, err := r.tryDpkg(args...); err != nil {
		t.Fatalf("dpkg %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

func (r root) tryDpkg(args ...string) (string, error) {
	cmd := exec.Command("dpkg", append([]string{"--root=" + r.dir, "--log=" + r.path("var/lib/dpkg/log"), "--force-script-chrootless"}, args...)...)
	cmd.Env = append(os.Environ(), "PATH="+os.Getenv("PATH")+":/usr/sbin:/sbin", "DEBIAN_FRONTEND=noninteractive")
	out, err := cmd.CombinedOutput()
	return string(out), err
}

// status is what dpkg thinks of the package: "ii" is installed, "rc" removed
// with its configuration left, "" unknown.
func (r root) status(t *testing.T) string {
	t.Helper()
	out, err := exec.Command("dpkg-query", "--root="+r.dir, "--show", "--showformat=${db:Status-Abbrev}", "binwatchd").Output()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() == 1 {
		return ""
	}
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(out))
}

// mode is owner, group and mode of a file as a program under fakeroot sees them.
func (r root) mode(t *testing.T, name string) string {
	t.Helper()
	return strings.TrimSpace(run(t, "stat", "--format=%u:%g %a", r.path(name)))
}

// user gives the line of /etc/passwd for a user, cut up.
func (r root) user(t *testing.T, name string) []string {
	t.Helper()
	for line := range strings.Lines(r.read(t, "etc/passwd")) {
		if fields := strings.Split(strings.TrimSpace(line), ":"); fields[0] == name {
			return fields
		}
	}
	t.Fatalf("there is no user %q", name)
	return nil
}

const (
	firstVersion = "1.0.0"
	nextVersion  = "1.1.0"
)

// pack makes a package for the machine at hand with the packager that the
// Makefile built; from is the folder in which nfpm finds what goes in.
func pack(t *testing.T, from, version string) string {
	t.Helper()
	to := t.TempDir()
	nfpm, binary := build(t, "nfpm"), native(t)
	cmd := exec.Command(nfpm, "package", "--config", "deploy/nfpm.yaml", "--packager", "deb", "--target", to+"/")
	cmd.Dir = from
	cmd.Env = append(os.Environ(), "PACKAGE_ARCH="+strings.Replace(machine(), "armhf", "arm6", 1), "PACKAGE_VERSION="+version,
		"PACKAGE_BINARY="+binary, "PACKAGE_PAPERS="+scratch, "SOURCE_DATE_EPOCH=1767225600")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("nfpm: %v\n%s", err, out)
	}
	return filepath.Join(to, fmt.Sprintf("binwatchd_%s_%s.deb", version, machine()))
}

// withSample is a folder to pack from that differs from the project's in the
// sample configuration.
func withSample(t *testing.T, text string) string {
	t.Helper()
	project, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	dir := root{t.TempDir()}
	dir.mkdir(t, "configs")
	for _, same := range []string{"deploy", "docs", "cmd", "README.md", "configs/full.yaml", "configs/mosquitto.conf"} {
		if err := os.Symlink(filepath.Join(project, same), dir.path(same)); err != nil {
			t.Fatal(err)
		}
	}
	dir.write(t, "configs/small.yaml", text, 0o644)
	return dir.dir
}
