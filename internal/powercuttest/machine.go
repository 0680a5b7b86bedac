package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"
)

// A machine is a small computer that is emulated: Debian with its kernel and its
// systemd, 256 MB and one processor. Its root is read-only, and /var, where the
// broker and the journal keep what they keep, is a disk of its own.
type machine struct {
	cfg  machineConfig
	cmd  *exec.Cmd
	said *console
	gone chan struct{}
	sh   net.Conn
	out  *bufio.Reader
}

type machineConfig struct {
	img    image
	disk   string // what lies under /var
	log    string // of writes to it; "": none is kept
	broker int    // a port of this machine that leads to the broker in there
	accel  string // kvm or tcg
	rtc    string // what its clock shows at a start; "": the time
}

// A console keeps what a machine says while it starts.
type console struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (c *console) Write(b []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.text.Write(b)
}

func (c *console) String() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.text.String()
}

// patience bounds each wait for a machine: an emulated one that shares its
// processor with others may take many minutes to start.
const patience = 30 * time.Minute

// on switches a machine on and waits until it has started.
func (m *machine) on() error {
	cfg := m.cfg
	m.said, m.gone = &console{}, make(chan struct{})
	shell := filepath.Join(filepath.Dir(cfg.disk), "shell")
	os.Remove(shell) // of a machine before
	cpu := map[string]string{"kvm": "host", "tcg": "qemu64,-svm,+ssse3,+sse4.1,+sse4.2,+popcnt,+rdrand"}[cfg.accel]
	blocks := []string{"-blockdev", "driver=file,node-name=var,filename=" + cfg.disk}
	if cfg.log != "" {
		if err := os.WriteFile(cfg.log, nil, 0o600); err != nil {
			return err
		}
		blocks = append(blocks, "-blockdev", "driver=file,node-name=log,filename="+cfg.log,
			"-blockdev", "driver=blklogwrites,node-name=recorded,file=var,log=log")
	}
	node := map[bool]string{true: "var", false: "recorded"}[cfg.log == ""]
	args := append([]string{
		"-accel", cfg.accel, "-cpu", cpu, "-m", "256", "-smp", "1", "-nodefaults", "-display", "none", "-no-reboot",
		"-kernel", cfg.img.kernel, "-initrd", cfg.img.initrd,
		"-append", "no_timer_check root=/dev/vda ro rootfstype=ext4 console=ttyS0 net.ifnames=0 mitigations=off random.trust_cpu=on panic=-1",
		"-serial", "stdio", "-chardev", "socket,id=shell,path=" + shell + ",server=on,wait=off", "-serial", "chardev:shell",
		"-netdev", fmt.Sprintf("user,id=net,restrict=off,hostfwd=tcp:127.0.0.1:%d-:1883", cfg.broker), "-device", "virtio-net-pci,netdev=net,romfile=",
		"-blockdev", "driver=file,node-name=root,read-only=on,filename=" + cfg.img.root, "-device", "virtio-blk-pci,drive=root",
	}, blocks...)
	args = append(args, "-device", "virtio-blk-pci,write-cache=on,drive="+node, "-rtc", "base="+cmp.Or(cfg.rtc, "utc"))
	m.cmd = exec.Command("qemu-system-x86_64", args...)
	screen, err := os.Create(filepath.Join(filepath.Dir(cfg.disk), "console")) // to look at while it starts
	if err != nil {
		return err
	}
	both := io.MultiWriter(m.said, screen)
	m.cmd.Stdout, m.cmd.Stderr = both, both
	m.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := m.cmd.Start(); err != nil {
		return err
	}
	gone := m.gone
	go func() {
		_ = m.cmd.Wait() // it is killed as a rule
		screen.Close()
		close(gone)
	}()
	if err := m.connect(shell); err != nil {
		return err
	}
	return m.up()
}

func (m *machine) stop() error { return order(m, "systemctl stop binwatchd") }

func (m *machine) start() error { return order(m, "systemctl start binwatchd") }

// device is what is under /var, as its kernel calls it.
func (m *machine) device() string { return "vdb" }

// order has a line run of which only matters that it goes well.
func order(in interface{ run(string) (string, error) }, line string) error {
	_, err := in.run(line)
	return err
}

func (m *machine) until(what string, holds func() bool) error {
	return until(what, m.gone, m.said, holds)
}

// connect opens the line to the shell in the machine.
func (m *machine) connect(socket string) error {
	return until("qemu has a line to the shell", m.gone, m.said, func() bool {
		var err error
		if m.sh, err = net.Dial("unix", socket); err == nil {
			m.out = bufio.NewReader(m.sh)
		}
		return err == nil
	})
}

// until polls for a condition, within patience, while a process lasts.
func until(what string, gone <-chan struct{}, said *console, holds func() bool) error {
	for late := time.Now().Add(patience); !holds(); time.Sleep(20 * time.Millisecond) {
		select {
		case <-gone:
			return fmt.Errorf("%s: it has ended: %s", what, tail(said.String()))
		default:
		}
		if time.Now().After(late) {
			return fmt.Errorf("%s: not in %s: %s", what, patience, tail(said.String()))
		}
	}
	return nil
}

func tail(s string) string { return s[max(0, len(s)-3000):] }

// greeting is what the shell says when there is one: what is sent to a machine
// before is lost.
const greeting = "the shell is here"

// up waits until the machine has started.
func (m *machine) up() error {
	if err := m.sh.SetDeadline(time.Now().Add(patience)); err != nil {
		return err
	}
	for {
		s, err := m.out.ReadString('\n')
		if err != nil {
			return fmt.Errorf("wait for the machine to start: %w: %s", err, tail(m.said.String()))
		}
		if strings.Contains(s, greeting) {
			_, err := m.run("PS1=") // no prompts
			return err
		}
	}
}

// run has the shell in the machine run a line, and gives what that printed. A
// line that fails is an error.
func (m *machine) run(line string) (string, error) {
	mark := fmt.Sprintf("end-%d", time.Now().UnixNano())
	if err := m.sh.SetDeadline(time.Now().Add(patience)); err != nil {
		return "", err
	}
	// The mark is put together there, so that an echo of the line is none.
	if _, err := fmt.Fprintf(m.sh, "{ %s ; } 2>&1; echo \"\"%s$?:\n", line, strings.Replace(mark, "-", "\"-\"", 1)); err != nil {
		return "", err
	}
	var out strings.Builder
	for {
		s, err := m.out.ReadString('\n')
		if err != nil {
			return out.String(), fmt.Errorf("run %q in the machine: %w: %s", line, err, tail(m.said.String()))
		}
		s = strings.TrimRight(s, "\r\n")
		if before, code, ended := strings.Cut(s, mark); ended {
			out.WriteString(before)
			if code != "0:" {
				return out.String(), fmt.Errorf("run %q in the machine: exit %s %s", line, code, out.String())
			}
			return strings.TrimSpace(out.String()), nil
		}
		out.WriteString(s + "\n")
	}
}

// cut takes the power away.
func (m *machine) cut() { m.end(syscall.SIGKILL) }

// halt ends the emulator in order, so that it finishes the log; to the machine in
// it that is a cut as well.
func (m *machine) halt() { m.end(syscall.SIGTERM) }

func (m *machine) end(s os.Signal) {
	if m.cmd == nil || m.cmd.Process == nil {
		return // it was never on
	}
	_ = m.cmd.Process.Signal(s) // it may have ended
	<-m.gone
	if m.sh != nil {
		m.sh.Close()
	}
}

// accelerator tells by what a Debian kernel is run here: by the processor itself
// where that comes to anything, else emulated.
func accelerator(img image) string {
	if _, err := os.Stat("/dev/kvm"); err != nil {
		return "tcg"
	}
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Second)
	defer stop()
	cmd := exec.CommandContext(ctx, "qemu-system-x86_64", "-accel", "kvm", "-cpu", "host", "-m", "256", "-nodefaults", "-display", "none",
		"-no-reboot", "-serial", "stdio", "-kernel", img.kernel, "-append", "console=ttyS0 panic=-1")
	out, err := cmd.CombinedOutput() // it finds no root and ends
	if bytes.Contains(out, []byte("Linux version")) {
		return "kvm"
	}
	fmt.Fprintln(os.Stderr, "the kernel does not start by /dev/kvm here, so it is emulated:", errors.Join(err, ctx.Err()))
	return "tcg"
}
