/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Time that another process moves: the daemon's own code, linked with this,
 * lives through a month while the machine lives through minutes. The file
 * that GRADUS_MONTH_PAGE names is a struct virtual_page; without it time is
 * the kernel's. All clocks run on at their usual speed between the moves, so
 * deadlines of what is under way keep their meaning. A machine that boots anew
 * is one whose page was changed while no process used it: its steady clocks
 * count from another moment, and the kernel's name of the boot is another one.
 */
#ifndef GRADUS_TESTS_VIRTUAL_CLOCK_H
#define GRADUS_TESTS_VIRTUAL_CLOCK_H

#include <stdint.h>

struct virtual_page {
    _Atomic int64_t ahead; /* of the kernel's clocks, nanoseconds; only ever grows */
    _Atomic int64_t wall;  /* how much more the wall clock is ahead: it was set */
    _Atomic int64_t disk;  /* result code of SQLite that each write fails with; 0: none */
    _Atomic int64_t heap;  /* bytes the process has allocated; it says so itself */
    _Atomic int64_t since; /* when the machine booted, on the kernel's clocks and `ahead` */
    _Atomic int64_t boot;  /* how often it has; 0: it is still the kernel's boot */
};

/* The page; never NULL. */
struct virtual_page *virtual_page(void);

/* Takes over what the page says of the disk, and says how much memory is in use. */
void virtual_look(void);

#endif
