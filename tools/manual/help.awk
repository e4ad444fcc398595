# SPDX-License-Identifier: GPL-3.0-or-later
# A help text of the programs as mdoc: what stands at the left is text, an option with two blanks
# before it an item, and what is further in goes on with the item above.
/^usage: / { print ".D1 " text(substr($0, 8)); next }
/^Options:$/ { next }
/^$/ { gap = 1; next }
/^  --/ {
    if (!list) print ".Bl -tag -width Ds"
    list = 1; gap = 0
    line = substr($0, 3)
    at = match(line, /  +/)
    head = at ? substr(line, 1, at - 1) : line
    name = head; argument = ""
    if (blank = index(head, " ")) { name = substr(head, 1, blank - 1); argument = substr(head, blank + 1) }
    print ".It Fl \\-" substr(name, 3) (argument == "" ? "" : " Ar " argument)
    if (at) print text(substr(line, at + RLENGTH))
    next
}
/^  / { sub(/^ +/, ""); if (gap) print ".Pp"; gap = 0; print text($0); next }
{ end_list(); if (gap) print ".Pp"; gap = 0; print text($0) }
