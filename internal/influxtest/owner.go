package influxtest

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// ownsPort proves that the listening socket of port belongs to the process
// pid: the kernel's socket tables give the inode, the process's open files
// name it.
func ownsPort(pid, port int) error {
	inodes, err := listeners(port)
	if err != nil {
		return err
	}
	fds, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	if err != nil {
		return err
	}
	for _, fd := range fds {
		// A file closed meanwhile is no listening socket of ours.
		if to, err := os.Readlink(fd); err == nil && inodes[to] {
			return nil
		}
	}
	return fmt.Errorf("port %d is served by another process than %d", port, pid)
}

// listeners gives the links by which a process holds a socket listening on
// the port, over IPv4 and IPv6.
func listeners(port int) (map[string]bool, error) {
	const listening = "0A" // TCP_LISTEN in Linux's include/net/tcp_states.h
	inodes := make(map[string]bool)
	for _, table := range []string{"/proc/net/tcp", "/proc/net/tcp6"} {
		text, err := os.ReadFile(table)
		if err != nil {
			return nil, err
		}
		for line := range strings.Lines(string(text)) {
			f := strings.Fields(line)
			if len(f) < 10 || f[3] != listening {
				continue
			}
			_, hex, _ := strings.Cut(f[1], ":")
			if n, err := strconv.ParseUint(hex, 16, 16); err == nil && int(n) == port {
				inodes["socket:["+f[9]+"]"] = true
			}
		}
	}
	return inodes, nil
}
