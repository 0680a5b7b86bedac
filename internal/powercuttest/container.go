package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// A container is what a machine has on its disks, run by the kernel of this one: its
// systemd in namespaces, over a view of the root that is thrown away, with /var on a
// disk of its own. The network is this machine's, and so is the clock; limits of
// memory hold where this kernel's groups of processes have them to give.
type container struct {
	here
	root    string // the tree that the machine's root is made of
	systemd *process
}

// boot makes the view, and systemd its first process. /sys and the kernel's
// settings are read-only, so that nothing in there looks after this machine's.
const boot = `
mount --make-rprivate /
cd "$1"
mkdir -p layer view
mount -t tmpfs tmpfs layer
mkdir layer/changes layer/work
mount -t overlay overlay -o "lowerdir=$2,upperdir=layer/changes,workdir=layer/work" view
mount --bind var view/var
cd view
mount -t proc proc proc
mount --bind proc/sys proc/sys
mount -o remount,bind,ro proc/sys
mount -t sysfs -o ro sysfs sys
mount -t cgroup2 cgroup2 sys/fs/cgroup
mount --rbind /dev dev
mount -t tmpfs tmpfs run
mount -t tmpfs tmpfs tmp
mkdir old run/systemd run/systemd/system
: >etc/fstab
printf '[Unit]\nWants=mosquitto.service binwatchd.service\nAllowIsolate=yes\n' >run/systemd/system/month.target
pivot_root . old
umount -l /old
mount --make-rshared /
exec env -i container=other PATH=/usr/sbin:/usr/bin:/sbin:/bin /lib/systemd/systemd --unit=month.target --log-target=null
`

func (c *container) on() (err error) {
	if err := c.attach(); err != nil {
		return err
	}
	if c.systemd, err = start(exec.Command("unshare", "--mount", "--pid", "--fork", "--uts", "--ipc", "--cgroup", "--kill-child=KILL",
		"sh", "-ec", boot, "boot", c.dir, c.root)); err != nil {
		return err
	}
	return c.until("the unit is active", func() bool {
		_, err := c.run("systemctl is-active binwatchd")
		return err == nil
	})
}

// run has a shell in the container run a line.
func (c *container) run(line string) (string, error) {
	children := fmt.Sprintf("/proc/%[1]d/task/%[1]d/children", c.systemd.cmd.Process.Pid)
	first, err := os.ReadFile(children)
	if err != nil {
		return "", err
	}
	out, err := exec.Command("nsenter", "--target", strings.TrimSpace(string(first)), "--mount", "--pid", "--uts", "--ipc", "--cgroup", "sh", "-c", line).CombinedOutput()
	if err != nil {
		return string(out), fmt.Errorf("run %q: %w: %s", line, err, out)
	}
	return strings.TrimSpace(string(out)), nil
}

// device is what is under /var, as the kernel calls it.
func (c *container) device() string { return filepath.Base(c.loop) }

func (c *container) stop() error  { return order(c, "systemctl stop binwatchd") }
func (c *container) start() error { return order(c, "systemctl start binwatchd") }

func (c *container) halt() {
	if c.systemd != nil {
		c.systemd.end(os.Kill)
	}
	c.here.halt()
}

func (c *container) until(what string, holds func() bool) error {
	return c.systemd.until(what, holds)
}
