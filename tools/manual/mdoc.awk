# SPDX-License-Identifier: GPL-3.0-or-later
# What help.awk and keys.awk share: text as mdoc has it, and the end of a list.
# A sentence begins on a line of its own, as mdoc(7) wants it.
function text(line, out) {
    gsub(/\\/, "\\e", line)
    sub(/^[.']/, "\\\\\\&&", line)
    while (match(line, /[a-z0-9)"][.] +[A-Z]/)) {
        out = out substr(line, 1, RSTART + 1) "\n"
        line = substr(line, RSTART + RLENGTH - 1)
    }
    return out line
}
function end_list() {
    if (list) print ".El"
    list = 0
}
END { end_list() }
