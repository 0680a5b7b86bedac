#!/bin/sh
# Prints the version of the working tree, in a form that Debian orders rightly:
#   v1.2.3                  1.2.3
#   4 commits after it      1.2.3+4.gabc1234
#   no tag yet              0.0.0+20260501123000.gabc1234
# with .changed behind it when files differ from the commit. With --epoch: the
# commit's time in seconds since 1970, for packages that are the same each time.
set -eu
cd "$(dirname "$0")/.."

if [ "${1:-}" = --epoch ]; then
	echo "${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 0)}"
	exit 0
fi
if tagged=$(git describe --tags --match 'v[0-9]*' --dirty=.changed 2>/dev/null); then
	echo "$tagged" | sed -E 's/^v//; s/-([0-9]+)-g/+\1.g/; s/-/~/g'
	exit 0
fi
changed=$(git describe --always --dirty=.changed 2>/dev/null) || { echo 0.0.0+unversioned; exit 0; }
echo "0.0.0+$(TZ=UTC git log -1 --date=format-local:%Y%m%d%H%M%S --format=%cd).g$changed"
