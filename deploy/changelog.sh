#!/bin/sh
# Prints CHANGELOG.md as a Debian changelog (Debian Policy 4.6, section 4.4). What is
# under Next is of the version that is being packed: changelog.sh VERSION
set -eu
cd "$(dirname "$0")/.."

when="" item=""
said() { # the item that was read, in lines of a terminal's width
	[ -z "$item" ] || printf '%s\n' "$item" | fold -s -w 74 | sed '1s/^/  * /; 1!s/^/    /; s/ *$//'
	item=""
}
entry() { # entry VERSION TIME ends one entry and begins another; without words it only ends
	said
	[ -z "$when" ] || printf '\n -- the binwatchd authors <binwatchd@example.org>  %s\n\n' "$(LC_ALL=C date -u -R -d "$when")"
	when=${2:-}
	[ -z "$when" ] || printf 'binwatchd (%s) unstable; urgency=low\n\n' "$1"
}
while IFS= read -r line; do
	case $line in
	"## Next") entry "$1" "@$(sh deploy/version.sh --epoch)" ;;
	"## "*) version=${line#\#\# } && entry "${version%%,*}" "${version#*, }" ;;
	"- "*) said && item=${line#- } ;;
	"  "*) item="$item ${line#  }" ;;
	esac
done <CHANGELOG.md
entry
