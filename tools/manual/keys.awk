# SPDX-License-Identifier: GPL-3.0-or-later
# `gradusd --keys` as mdoc: a group is a heading, a key an item with its type beside it.
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
