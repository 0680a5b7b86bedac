#!/bin/sh
# Installs what the tests run against, where it is missing and we may: real
# brokers, databases, a metrics scraper, a browser and an emulator. With the word
# ecosystem, what make ecosystem runs too; with machine, what make powercut and make month do.
set -eu

missing=""
need() { # need PROGRAM PACKAGE
	command -v "$1" >/dev/null 2>&1 || [ -x "/usr/sbin/$1" ] || missing="$missing $2"
}
need mosquitto mosquitto
need mosquitto_pub mosquitto-clients
need influxd influxdb
need victoria-metrics victoria-metrics
need prometheus prometheus
need chromium chromium
need qemu-arm qemu-user
need smtpd opensmtpd
need dpkg-deb dpkg
need systemd-analyze systemd
need openssl openssl
need groff groff-base
need fakeroot fakeroot
need zsh zsh
need fish fish
need sqlite3 sqlite3
if [ "${1:-}" = ecosystem ]; then
	need lintian lintian
	need mandoc mandoc
	need node nodejs
	need npm npm
	need khal khal
	/usr/bin/python3 -c "import pandas" 2>/dev/null || missing="$missing python3-pandas"
fi
if [ "${1:-}" = machine ]; then
	need qemu-system-x86_64 qemu-system-x86
	need qemu-storage-daemon qemu-system-common
	need mmdebstrap mmdebstrap
	need mkfs.ext4 e2fsprogs
fi

[ -n "$missing" ] || exit 0
if [ "$(id -u)" != 0 ]; then
	echo "the tests need these Debian packages; install them as root:$missing" >&2
	exit 1
fi
echo "installing what the tests need:$missing"
export DEBIAN_FRONTEND=noninteractive
apt-get update -qq
# The daemons are started by the tests, on ports of their own, not by the system.
# shellcheck disable=SC2086
RUNLEVEL=1 apt-get install -y -qq --no-install-recommends $missing >/dev/null
