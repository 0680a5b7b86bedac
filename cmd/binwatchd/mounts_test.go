package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

// ownMounts marks the run of a test inside mounts of its own.
const ownMounts = "BINWATCHD_OWN_MOUNTS"

// withOwnMounts runs the test in a process that can mount without anybody
// else seeing it, root or not: what is mounted goes when the process does.
func withOwnMounts(t *testing.T, test func(*testing.T)) {
	t.Helper()
	if os.Getenv(ownMounts) != "" {
		test(t)
		return
	}
	t.Parallel() // it waits more than it works
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	cmd.Env = append(os.Environ(), ownMounts+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS, Pdeathsig: syscall.SIGKILL}
	if os.Getuid() != 0 {
		cmd.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		cmd.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
		cmd.SysProcAttr.GidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}}
	}
	var out bytes.Buffer
	cmd.Stdout = &out
	if os.Getenv("SOAK") != "" { // somebody looks on
		cmd.Stdout = io.MultiWriter(&out, os.Stdout)
	}
	cmd.Stderr = cmd.Stdout
	if err := cmd.Run(); err != nil || !strings.Contains(out.String(), "--- PASS: "+t.Name()) {
		t.Errorf("in mounts of its own: %v", err)
	}
	t.Logf("in mounts of its own:\n%s", out.String())
}

// mount puts a file system in memory at a directory of the test's own, until
// the test ends. Only with [withOwnMounts].
func mount(t *testing.T, dir, options string) {
	t.Helper()
	if err := unix.Mount("", "/", "", unix.MS_REC|unix.MS_PRIVATE, ""); err != nil {
		t.Fatalf("part from the other mounts: %v", err)
	}
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, options); err != nil {
		t.Fatalf("mount a disk: %v", err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Errorf("unmount the disk: %v", err)
		}
	})
}

func remount(t *testing.T, dir string, flags uintptr, options string) {
	t.Helper()
	if err := unix.Mount("", dir, "", unix.MS_REMOUNT|flags, options); err != nil {
		t.Fatalf("remount: %v", err)
	}
}

// squeeze leaves no room on a mounted disk.
func squeeze(t *testing.T, dir string) {
	t.Helper()
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		t.Fatalf("look at the disk: %v", err)
	}
	// What is written between the look and the remount makes the disk too
	// small for what is on it, which is refused.
	used, more := (s.Blocks-s.Bfree)*uint64(s.Bsize), uint64(0)
	for unix.Mount("", dir, "", unix.MS_REMOUNT, fmt.Sprintf("size=%d", used+more)) != nil {
		if more += uint64(s.Bsize); more > 1<<20 {
			t.Fatal("the disk can't be made full")
		}
	}
}
