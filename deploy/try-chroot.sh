#!/bin/sh
# Tries the package as those who make images install it: in a bare chroot, with no
# /proc, no /dev and no service manager, then with a service manager that policy-rc.d(8)
# forbids to start anything. The chroot is a copy-on-write view of this machine's disk
# that is thrown away. Wants root and overlayfs.
#
#   sudo deploy/try-chroot.sh dist/binwatchd_VERSION_amd64.deb
set -eu

case ${1:-} in
*.deb)
	place=$(mktemp -d)
	trap 'rm -rf "$place"' EXIT
	cp "$1" "$place/package.deb"
	timeout --signal=KILL 300 unshare --mount sh "$0" view "$place"
	exit
	;;
view) place=$2 ;;
*) echo "usage: $0 PACKAGE.deb" >&2; exit 2 ;;
esac

mount --make-rprivate /
mkdir "$place/view" "$place/layer"
mount -t tmpfs tmpfs "$place/layer"
mkdir "$place/layer/changes" "$place/layer/work"
mount -t overlay overlay -o "lowerdir=/,upperdir=$place/layer/changes,workdir=$place/layer/work" "$place/view"
cp "$place/package.deb" "$place/view/package.deb"
rm -rf "$place/view/run" && mkdir "$place/view/run"
rm -f "$place/view/var/lib/man-db/auto-update" # the index of every page of this machine takes minutes

inside() { env -i PATH=/usr/sbin:/usr/bin:/sbin:/bin chroot "$place/view" "$@"; }
is() { # is WHAT GOT WANT
	if [ "$2" = "$3" ]; then echo "ok: $1"; return; fi
	echo "not ok: $1: got '$2', want '$3'"
	exit 1
}
installs() { # installs WHAT, and can be taken away again
	inside dpkg --install /package.deb >"$place/said" 2>&1 || { cat "$place/said"; exit 1; }
	is "$1: installed" "$(inside dpkg-query --show --showformat='${db:Status-Abbrev}' binwatchd)" "ii "
	is "$1: the user is there" "$(inside grep -c ^binwatchd: /etc/passwd)" 1
	inside binwatchd check --config /etc/binwatchd/binwatchd.yaml >"$place/said" 2>&1 || { cat "$place/said"; exit 1; }
	inside dpkg --install /package.deb >"$place/said" 2>&1 || { cat "$place/said"; exit 1; }
	is "$1: installed over itself" "$(inside dpkg-query --show --showformat='${db:Status-Abbrev}' binwatchd)" "ii "
	inside dpkg --purge binwatchd >"$place/said" 2>&1 || { cat "$place/said"; exit 1; }
	is "$1: purged" "$(ls -d "$place/view/etc/binwatchd" "$place/view/var/lib/binwatchd" 2>/dev/null | wc -l)" 0
}

installs "bare chroot"
mkdir -p "$place/view/run/systemd/system"
printf '#!/bin/sh\nexit 101\n' >"$place/view/usr/sbin/policy-rc.d"
chmod 0755 "$place/view/usr/sbin/policy-rc.d"
installs "with a manager that may start nothing"
echo "all is well"
