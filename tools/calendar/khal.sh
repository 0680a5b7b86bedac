#!/bin/sh
# A calendar as a client shows it: what comes is imported into khal, twice, as a keeper
# does after changes, and listed. Wants Debian's khal.
set -eu
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
mkdir "$dir/farm"
cat > "$dir/khal.conf" <<END
[calendars]
[[farm]]
path = $dir/farm
[locale]
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M
[sqlite]
path = $dir/khal.db
END
CALENDAR_OUT="$dir/farm.ics" ${GO:-go} test -count 1 -run TestCalendarIsReadByOthers ./internal/ahead
for _ in 1 2; do
	khal -c "$dir/khal.conf" import --batch "$dir/farm.ics"
done
khal -c "$dir/khal.conf" list --format '{title}' 2026-02-03 1d > "$dir/list"
cat "$dir/list"
[ "$(grep -c 'Bed, near; water' "$dir/list")" = 1 ] || { echo "khal does not show the watering of 3 February once" >&2; exit 1; }
