package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// An image is what a machine is made of.
type image struct {
	dir                        string
	root, disk, kernel, initrd string // disk is /var as it is when the machine is new
}

// diskSize is enough for two groups of blocks, so that there is a second superblock,
// and small enough to be copied for each of hundreds of cuts. Its blocks are of 4 KiB,
// as on a big card.
const diskSize = "192M"

// debian is what is in the machine beside our own package.
const debian = "linux-image-cloud-amd64,systemd,systemd-sysv,udev,dbus,mosquitto,ca-certificates,tzdata,procps,iproute2,e2fsprogs,kmod,initramfs-tools,lz4"

// at is the image in a directory, whether it is built or not.
func at(dir string) image {
	return image{dir: dir, root: filepath.Join(dir, "root.img"), disk: filepath.Join(dir, "var.img"),
		kernel: filepath.Join(dir, "vmlinuz"), initrd: filepath.Join(dir, "initrd")}
}

// build makes the image. What comes from Debian is fetched once.
func build(img image, deb string) error {
	dir := img.dir
	fetched, tree := filepath.Join(dir, "debian.tar"), filepath.Join(dir, "root")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	if _, err := os.Stat(fetched); err != nil {
		if err := do("mmdebstrap", "--variant=minbase", "--format=tar", "--include="+debian, "bookworm", fetched+".part"); err != nil {
			return err
		}
		if err := os.Rename(fetched+".part", fetched); err != nil {
			return err
		}
	}
	if err := os.RemoveAll(tree); err != nil {
		return err
	}
	if err := os.Mkdir(tree, 0o755); err != nil {
		return err
	}
	for _, step := range [][]string{
		{"tar", "-C", tree, "-xf", fetched},
		{"cp", deb, filepath.Join(tree, "binwatchd.deb")},
		inside(tree, "apt-get -qq install /binwatchd.deb"),
		{"rm", filepath.Join(tree, "binwatchd.deb")},
	} {
		if err := do(step...); err != nil {
			return err
		}
	}
	if err := furnish(tree); err != nil {
		return err
	}
	return pack(tree, img)
}

// furnish writes what makes a machine of a tree: disks, network, the broker's
// settings and a shell on the second serial line.
func furnish(tree string) error {
	for name, text := range map[string]string{
		"etc/fstab": "/dev/vda / ext4 ro 0 0\n/dev/vdb /var ext4 noatime,x-systemd.device-timeout=30min 0 2\ntmpfs /tmp tmpfs mode=1777 0 0\n",
		// An emulated machine takes its time.
		"etc/systemd/system.conf.d/slow.conf": "[Manager]\nDefaultTimeoutStartSec=30min\n",
		"etc/hostname":                        "cellar\n",
		"etc/machine-id":                      "6d61636865726e2d6f662d776f726d73\n",
		"etc/systemd/journald.conf.d/a.conf":  "[Journal]\nStorage=volatile\nRuntimeMaxUse=4M\n",
		"etc/initramfs-tools/conf.d/small":    "MODULES=list\nCOMPRESS=lz4\n",
		"var/lib/powercut/hook":               "PORT=9\n",
		"etc/initramfs-tools/modules":         "virtio_pci\nvirtio_blk\next4\n",
		"etc/systemd/system/net.service": "[Unit]\nBefore=network.target\nWants=network.target\nAfter=sys-subsystem-net-devices-eth0.device\nRequires=sys-subsystem-net-devices-eth0.device\n" +
			"[Service]\nType=oneshot\nRemainAfterExit=yes\nExecStart=/bin/sh -c 'ip link set lo up; ip link set eth0 up; ip address add 10.0.2.15/24 dev eth0; ip route add default via 10.0.2.2'\n" +
			"[Install]\nWantedBy=multi-user.target\n",
		// A webhook without TLS may only go to loopback: what listens there hands it on.
		"etc/systemd/system/hook.socket":  "[Socket]\nListenStream=127.0.0.1:9000\n[Install]\nWantedBy=sockets.target\n",
		"etc/systemd/system/hook.service": "[Service]\nEnvironmentFile=/var/lib/powercut/hook\nExecStart=/lib/systemd/systemd-socket-proxyd 10.0.2.2:${PORT}\n",
		"etc/systemd/system/mail.socket":  "[Socket]\nListenStream=127.0.0.1:9025\n[Install]\nWantedBy=sockets.target\n",
		"etc/systemd/system/mail.service": "[Service]\nEnvironmentFile=/var/lib/powercut/hook\nExecStart=/lib/systemd/systemd-socket-proxyd 10.0.2.2:${MAIL}\n",
		"etc/systemd/system/shell.service": "[Unit]\nAfter=multi-user.target\n[Service]\nExecStartPre=-/bin/stty -F /dev/ttyS1 -echo raw\nExecStart=/bin/sh -c 'echo " + greeting + "; exec /bin/sh'\n" +
			"StandardInput=tty-force\nStandardOutput=tty\nStandardError=tty\nTTYPath=/dev/ttyS1\nRestart=always\nRestartSec=0\n[Install]\nWantedBy=multi-user.target\n",
		"etc/systemd/system/mosquitto.service.d/order.conf": "[Unit]\nAfter=net.service\n",
	} {
		if err := place(filepath.Join(tree, name), text); err != nil {
			return err
		}
	}
	// What differs from one try to the next lies on the disk of its own.
	for _, link := range []string{"etc/binwatchd/binwatchd.yaml", "etc/mosquitto/conf.d/binwatchd.conf"} {
		if err := do("ln", "-sf", "/var/lib/powercut/"+filepath.Base(link), filepath.Join(tree, link)); err != nil {
			return err
		}
	}
	idle := []string{"systemd-udev-settle.service", "systemd-random-seed.service", "systemd-update-utmp.service", "systemd-update-utmp-runlevel.service",
		"systemd-logind.service", "getty.target", "serial-getty@ttyS0.service", "apt-daily.timer", "apt-daily-upgrade.timer", "e2scrub_all.timer", "e2scrub_reap.service",
		"fstrim.timer", "dpkg-db-backup.timer", "systemd-pstore.service", "systemd-binfmt.service", "systemd-repart.service", "systemd-firstboot.service",
		"systemd-sysusers.service", "systemd-journal-flush.service", "systemd-machine-id-commit.service", "dev-hugepages.mount", "sys-kernel-debug.mount",
		"sys-kernel-tracing.mount", "sys-fs-fuse-connections.mount", "sys-kernel-config.mount", "systemd-pcrphase.service", "systemd-pcrphase-sysinit.service",
		"systemd-tmpfiles-clean.timer", "systemd-user-sessions.service", "remote-fs.target", "modprobe@.service"}
	for _, step := range [][]string{
		append([]string{"systemctl", "--root", tree, "-q", "mask"}, idle...),
		{"systemctl", "--root", tree, "-q", "enable", "net.service", "hook.socket", "mail.socket", "shell.service", "mosquitto.service", "binwatchd.service"},
		inside(tree, "update-initramfs -u"),
	} {
		if err := do(step...); err != nil {
			return err
		}
	}
	return nil
}

// pack makes the two disks of a tree.
func pack(tree string, img image) error {
	boot, err := filepath.Glob(filepath.Join(tree, "boot", "*-amd64"))
	if err != nil {
		return err
	}
	for _, file := range boot {
		to := map[string]string{"vmlinuz": img.kernel, "initrd.img": img.initrd}[strings.SplitN(filepath.Base(file), "-", 2)[0]]
		if to == "" {
			continue
		}
		if err := do("cp", file, to); err != nil {
			return err
		}
	}
	apart := filepath.Join(filepath.Dir(tree), "var")
	for _, step := range [][]string{
		{"rm", "-rf", apart, img.root, img.disk, filepath.Join(tree, "boot"), filepath.Join(tree, "var/cache"), filepath.Join(tree, "var/lib/apt")},
		{"mv", filepath.Join(tree, "var"), apart},
		{"mkdir", filepath.Join(tree, "var")},
		{"mkfs.ext4", "-q", "-d", tree, img.root, "1G"},
		{"mkfs.ext4", "-q", "-b", "4096", "-J", "size=4", "-d", apart, img.disk, diskSize},
	} {
		if err := do(step...); err != nil {
			return err
		}
	}
	return nil
}

// inside is a line to be run in a tree as if it were a machine's own.
func inside(tree, line string) []string {
	return []string{"unshare", "--mount", "sh", "-ec", "mount -t proc proc $0/proc; mount --rbind /dev $0/dev; chroot $0 " + line, tree}
}

// place writes a file with the directories on the way to it.
func place(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, []byte(text), 0o644)
}

// do runs a program; what it says is of interest when it fails.
func do(args ...string) error {
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(os.Environ(), "LC_ALL=C", "DEBIAN_FRONTEND=noninteractive")
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(args, " "), err, out)
	}
	return nil
}
