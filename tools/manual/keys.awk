# SPDX-License-Identifier: GPL-3.0-or-later
# `gradusd --keys` as mdoc: a group is a heading, a key an item with its type beside it.
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
/^[^ ]/ { end_list(); sub(/:$/, ""); print ".Sh " toupper(substr($0, 1, 1)) text(substr($0, 2)); next }
/^    [^ ]/ {
    if (!list) print ".Bl -tag -width Ds"
    list = 1
    name = $1
    sub(/^ *[^ ]+ */, "")
    print ".It Ic " name " \\(en " text($0)
    next
}
{ sub(/^ +/, ""); if ($0 != "") print text($0) }
END { end_list() }
