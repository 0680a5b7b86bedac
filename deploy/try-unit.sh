#!/bin/sh
# Tries the package and its unit under a real systemd, without touching this
# machine: a systemd of its own is started in namespaces, over a copy-on-write
# view of the disk that is thrown away afterwards. Wants root and a kernel with
# overlayfs, which not every CI machine gives; so it is no part of make test.
#
#   sudo deploy/try-unit.sh dist/binwatchd_VERSION_amd64.deb
set -eu

# outside makes a place for the view and starts the rest in namespaces.
outside() {
	place=$(mktemp -d)
	trap 'rm -rf "$place"' EXIT
	cp "$1" "$place/package.deb"
	cp "$0" "$place/try-unit.sh"
	: >"$place/said"
	timeout --signal=KILL 300 unshare --mount --pid --fork --uts --ipc --cgroup --net --kill-child=KILL \
		sh "$place/try-unit.sh" boot "$place" || true # what it said counts
	cat "$place/said"
	grep -q '^all is well$' "$place/said"
}

# boot makes the view the root of the file system, and systemd its first process.
boot() {
	place=$1
	mount --make-rprivate /
	mkdir "$place/view" "$place/layer"
	mount -t tmpfs tmpfs "$place/layer"
	mkdir "$place/layer/changes" "$place/layer/work"
	mount -t overlay overlay -o "lowerdir=/,upperdir=$place/layer/changes,workdir=$place/layer/work" "$place/view"
	cd "$place/view"
	mount -t proc proc proc
	mount -t sysfs sysfs sys
	mount -t cgroup2 cgroup2 sys/fs/cgroup
	mount --rbind /dev dev
	mount -t tmpfs tmpfs run
	mkdir -p share old run/systemd/system
	mount --bind "$place" share
	units run/systemd/system
	rm -f usr/sbin/policy-rc.d # a keeper's machine lets packages start what is enabled
	ip link set lo up
	pivot_root . old
	umount -l /old
	mount --make-rshared / # as systemd does outside of containers: credentials travel that way
	exec env -i container=other PATH=/usr/sbin:/usr/bin:/sbin:/bin \
		/lib/systemd/systemd --unit=try.target --log-target=null >/share/systemd.log 2>&1
}

# units writes the one thing that this systemd is to start.
units() {
	printf '[Unit]\nRequires=try.service\nAllowIsolate=yes\n' >"$1/try.target"
	cat >"$1/try.service" <<-'END'
	[Unit]
	DefaultDependencies=no
	[Service]
	Type=oneshot
	ExecStart=/bin/sh /share/try-unit.sh inside
	StandardOutput=append:/share/said
	StandardError=append:/share/said
	END
}

config=/etc/binwatchd/binwatchd.yaml
main() { systemctl show binwatchd --property="$1" --value; }

# is compares, and ends everything at the first difference.
is() { # is WHAT GOT WANT
	if [ "$2" = "$3" ]; then echo "ok: $1"; return; fi
	echo "not ok: $1: got '$2', want '$3'"
	journalctl --no-pager --unit binwatchd | tail -20
	exit 1
}

# until_true tries a command for ten seconds.
until_true() { # until_true WHAT COMMAND...
	what=$1; shift
	for _ in $(seq 100); do
		if "$@" >/dev/null 2>&1; then echo "ok: $what"; return; fi
		sleep 0.1
	done
	is "$what" never "within ten seconds"
}

# shows tells whether a command of the binary says something.
shows() { binwatchd now --config "$config" | grep -q "$1"; }
active() { [ "$(main ActiveState)" = active ]; }
restarted() { [ "$(main NRestarts)" = 1 ] && active; }
logged() { journalctl --no-pager --unit binwatchd | grep -q "$1"; }

# inside is a keeper's first day, told to a real systemd.
inside() {
	trap 'systemctl --no-block exit' EXIT
	dpkg --install /share/package.deb >/dev/null 2>&1
	is "a first install starts nothing" "$(systemctl is-active binwatchd)/$(systemctl is-enabled binwatchd)" inactive/disabled

	# A broker with a password, which only systemd may read.
	printf 'probe-words\n' >/etc/binwatchd/broker.secret
	chmod 0600 /etc/binwatchd/broker.secret
	echo 'binwatchd:probe-words' >/run/mosquitto.passwords
	mosquitto_passwd -U /run/mosquitto.passwords
	printf 'listener 1883 127.0.0.1\nuser root\npassword_file /run/mosquitto.passwords\n' >/run/mosquitto.conf
	mosquitto -d -c /run/mosquitto.conf 2>/dev/null
	sed -i 's|^broker:.*|broker: {url: "tcp://127.0.0.1:1883", user: binwatchd, password: {credential: broker}}|' "$config"
	mkdir -p /etc/systemd/system/binwatchd.service.d
	printf '[Service]\nLoadCredential=broker:/etc/binwatchd/broker.secret\nWatchdogSec=4s\nRestartSec=100ms\n' \
		>/etc/systemd/system/binwatchd.service.d/try.conf
	systemctl daemon-reload

	systemctl enable --now binwatchd 2>/dev/null || true # what follows tells
	is "it says that it is ready" "$(main ActiveState)/$(main StatusText)" "active/watching Hillfoot Nursery"
	until_true "it reaches the broker with a credential" logged 'broker reached'
	mosquitto_pub -u binwatchd -P probe-words -q 1 -t glass/bed/temperature -m 19.5
	until_true "a reading comes through" shows '19.5'
	is "no capability is left" "$(grep CapBnd "/proc/$(main MainPID)/status" | tr -d '\t')" CapBnd:0000000000000000
	is "the journal is for user and group" "$(stat -c '%U:%G %a' /var/lib/binwatchd/journal.db)" "binwatchd:binwatchd 640"

	before=$(main MainPID)
	systemctl reload binwatchd
	until_true "a reload is taken" logged 'configuration reloaded'
	until_true "and ends" active
	is "by the same process" "$(main MainPID)" "$before"

	kill -STOP "$before"
	until_true "a daemon that hangs is started again" restarted
	until_true "and remembers" shows '19.5'

	systemctl stop binwatchd
	is "an ordered stop is no failure" "$(main Result)" success
	dpkg --remove binwatchd >/dev/null 2>&1
	is "removing keeps what is the keeper's" "$(ls -d /etc/binwatchd /var/lib/binwatchd | wc -l)" 2
	dpkg --install /share/package.deb >/dev/null 2>&1
	is "a removal taken back runs again" "$(systemctl is-active binwatchd)" active
	dpkg --purge binwatchd >/dev/null 2>&1
	is "purging takes it all" "$(ls -d /etc/binwatchd /var/lib/binwatchd 2>/dev/null | wc -l)/$(systemctl is-active binwatchd)" 0/inactive
	echo "all is well"
}

case ${1:-} in
boot) boot "$2" ;;
inside) inside ;;
*.deb) outside "$1" ;;
*) echo "usage: $0 PACKAGE.deb" >&2; exit 2 ;;
esac
