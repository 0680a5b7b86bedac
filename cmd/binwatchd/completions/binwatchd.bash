# What may follow on the command line of binwatchd, for bash: the program itself knows.
_binwatchd() {
	mapfile -t COMPREPLY < <("$1" complete bash -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null)
}
complete -o default -F _binwatchd binwatchd
