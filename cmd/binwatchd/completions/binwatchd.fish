# What may follow on the command line of binwatchd, for fish: the program itself knows.
function __binwatchd_words
    set -l words (commandline -opc)
    set -e words[1]
    set -l typed (commandline -ct)
    set -l found (binwatchd complete fish -- $words "$typed" 2>/dev/null)
    if set -q found[1]
        printf '%s\n' $found
    else
        __fish_complete_path $typed
    end
end
complete -c binwatchd -f -a '(__binwatchd_words)'
