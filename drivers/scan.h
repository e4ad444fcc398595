/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is plugged into this machine that an instrument can be behind: serial
 * ports and USBTMC devices, as data. Nothing is said to any of them and no
 * port that a program of ours has is opened.
 */
#ifndef GRADUS_DRIVERS_SCAN_H
#define GRADUS_DRIVERS_SCAN_H

#include "core/basics/failure.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum scan_kind { SCAN_SERIAL, SCAN_USBTMC };

/* Texts that are not known are empty. */
struct scan_device {
    enum scan_kind kind;
    const char *transport; /* "native", "usb" or "bluetooth"; static */
    char node[128];        /* "/dev/ttyUSB0" */
    int vendor;            /* of USB; both 0: not known */
    int product;
    char usb_serial[64];
    char description[128];
    char by_id[200]; /* name below /dev/serial/by-id */
    char by_path[200];
    char link[256]; /* the most stable form for the settings */
    bool in_use;    /* by gradusd or another program that locks what it opens */
    bool denied;    /* this user may not open it */
};

/* Start with {0}; free with scan_free(). */
struct scan {
    size_t count;
    struct scan_device *devices;
};

/*
 * Lists what there is, with names and links filled in. `root` is put before
 * the paths of /dev and /proc that are looked at; empty, but for tests.
 */
bool scan_list(const char *root, struct scan *scan, struct failure *failure);

/* Frees the devices and leaves an empty scan. */
void scan_free(struct scan *scan);

/* One more device, all empty. NULL when memory is short. */
struct scan_device *scan_add(struct scan *scan);

/* Fills in by_id and by_path: the links below /dev/serial that lead to the node. */
void scan_names(const char *root, struct scan_device *device);

/*
 * Writes the link that stays right when plugs move, as far as there is one: by
 * vendor, product and serial number where that fits one port only; else by the
 * name of the socket it is plugged into, since adapters without serial numbers
 * share their other names (udev's 60-serial.rules); else by the node. Native
 * ports go by their node.
 */
void scan_choose_link(const struct scan *scan, size_t index, char *link, size_t size);

/* Whether `locks`, in the form of /proc/locks, holds a lock on an inode of a device. */
bool scan_locked(const char *locks, unsigned major, unsigned minor, uint64_t inode);

#endif
