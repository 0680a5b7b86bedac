package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
)

// A here is no machine: broker and daemon run on this one, and what they keep lies
// on a disk that is made of a file by qemu's storage daemon, which records it in the
// same way. The kernel is this machine's, its ext4 too.
type here struct {
	dir, disk, log string
	program        string
	settings       string // of the broker
	port           int    // of the broker
	relay          int
	hook, mail     int

	store, broker, daemon *process
	loop                  string
}

func (h *here) exported() string { return filepath.Join(h.dir, "exported") }
func (h *here) mounted() string  { return filepath.Join(h.dir, "var") }

// on attaches the disk, and starts broker and daemon.
func (h *here) on() error {
	if err := h.attach(); err != nil {
		return err
	}
	conf := filepath.Join(h.dir, "mosquitto.conf")
	text := strings.Replace(h.settings, "listener 1883", fmt.Sprintf("listener %d 127.0.0.1", h.port), 1) +
		fmt.Sprintf("\nuser root\nlog_dest stderr\npersistence_location %s/lib/mosquitto/\n", h.mounted())
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		return err
	}
	var err error
	if h.broker, err = start(exec.Command("mosquitto", "-c", conf)); err != nil {
		return err
	}
	if err := h.broker.until("the broker listens", func() bool {
		c, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", h.port))
		if err == nil {
			c.Close()
		}
		return err == nil
	}); err != nil {
		return err
	}
	return h.start()
}

// attach makes a file a disk, and mounts it as a machine does that starts.
func (h *here) attach() (err error) {
	for _, left := range []string{h.mounted(), h.exported()} {
		_ = do("umount", "--lazy", left) // by a run that was killed
	}
	node, blocks := "var", []string{"--blockdev", "driver=file,node-name=var,filename=" + h.disk}
	if h.log != "" {
		if err := os.WriteFile(h.log, nil, 0o600); err != nil {
			return err
		}
		node, blocks = "recorded", append(blocks, "--blockdev", "driver=file,node-name=log,filename="+h.log,
			"--blockdev", "driver=blklogwrites,node-name=recorded,file=var,log=log")
	}
	if err := os.WriteFile(h.exported(), nil, 0o600); err != nil {
		return err
	}
	args := append(blocks, "--export", fmt.Sprintf("type=fuse,id=disk,node-name=%s,mountpoint=%s,writable=on", node, h.exported()))
	if h.store, err = start(exec.Command("qemu-storage-daemon", args...)); err != nil {
		return err
	}
	if err := h.store.until("the disk is there", func() bool {
		info, err := os.Stat(h.exported())
		return err == nil && info.Size() > 0
	}); err != nil {
		return err
	}
	out, err := exec.Command("losetup", "--find", "--show", h.exported()).Output()
	if err != nil {
		return fmt.Errorf("losetup: %w", err)
	}
	h.loop = strings.TrimSpace(string(out))
	if _, err := repair(h.loop); err != nil {
		return err
	}
	if err := os.MkdirAll(h.mounted(), 0o755); err != nil {
		return err
	}
	return do("mount", "-o", "noatime", h.loop, h.mounted())
}

func (h *here) start() (err error) {
	yaml := filepath.Join(h.dir, "binwatchd.yaml")
	text := configuration(ends{broker: fmt.Sprintf("tcp://127.0.0.1:%d", h.relay), journal: filepath.Join(h.mounted(), "lib/binwatchd/journal.db"),
		flush: "30s", control: filepath.Join(h.dir, "control"), hook: fmt.Sprintf("http://127.0.0.1:%d/hook", h.hook), mail: h.mail})
	if err := os.WriteFile(yaml, []byte(text), 0o600); err != nil {
		return err
	}
	if h.daemon, err = start(exec.Command(h.program, "run", "--config", yaml)); err != nil {
		return err
	}
	return h.daemon.says("broker reached")
}

func (h *here) stop() error {
	h.daemon.end(syscall.SIGTERM)
	return nil
}

// cut kills the disk first, as it stands; nothing reaches it any more.
func (h *here) cut() {
	if h.store != nil {
		h.store.end(syscall.SIGKILL)
	}
	h.detach()
}

// halt leaves the disk time to finish its log.
func (h *here) halt() {
	h.killed()
	_ = unmount(h.mounted())
	_ = do("losetup", "--detach", h.loop)
	if h.store != nil {
		h.store.end(syscall.SIGTERM)
	}
	h.detach()
}

func (h *here) killed() {
	for _, p := range []*process{h.daemon, h.broker} {
		if p != nil {
			p.end(syscall.SIGKILL)
		}
	}
}

// detach takes away what is left; some of it may be gone.
func (h *here) detach() {
	h.killed()
	_ = do("umount", "--lazy", h.mounted())
	_ = do("losetup", "--detach", h.loop)
	_ = do("umount", "--lazy", h.exported())
}

func (h *here) until(what string, holds func() bool) error { return h.daemon.until(what, holds) }
