/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One USB interface with a bulk-out, a bulk-in and an interrupt-in endpoint on
 * a mounted FunctionFS, for high and full speed. The kernel's interface is
 * linux/usb/functionfs.h; descriptors are those of USB 2.0, chapter 9.
 */
#ifndef STANDIN_FFS_H
#define STANDIN_FFS_H

#include "tools/standin/basics/problem.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* In the order of the descriptors; the kernel's number of an endpoint is one more. */
enum ffs_endpoint { FFS_OUT, FFS_IN, FFS_INTERRUPT, FFS_ENDPOINTS };

/*
 * Most bytes to be given to one write(): the kernel copies each into one piece
 * of memory. A multiple of every packet size.
 */
enum { FFS_CHUNK = 65536 };

/* What the interface says it is. */
struct ffs_plan {
    uint8_t interface_class;
    uint8_t subclass;
    uint8_t protocol;
    bool otg;             /* an on-the-go descriptor stands before the endpoints */
    uint16_t interrupt;   /* packet size of the interrupt endpoint */
    const char *function; /* the interface's text */
};

struct ffs {
    int control; /* ep0, non-blocking for reads by poll */
    int endpoints[FFS_ENDPOINTS];
};

/* Writes the descriptors and opens all endpoints; false with the problem told and all closed. */
bool ffs_open(struct ffs *ffs, const char *folder, const struct ffs_plan *plan,
              struct problem *problem);

/* Closes what is open. */
void ffs_close(struct ffs *ffs);

/* Bytes of a packet of a bulk endpoint at the speed of the present connection. */
size_t ffs_packet(const struct ffs *ffs, enum ffs_endpoint endpoint);

/*
 * Halts an endpoint, which must not be in use. False when it could not: bytes
 * wait in it that the host has not read, or nothing is connected.
 */
bool ffs_halt(const struct ffs *ffs, enum ffs_endpoint endpoint);

/* Whether bytes wait in bulk-in that the host has not read. */
bool ffs_unread(const struct ffs *ffs);

/* Answers a control request: stalls it, or ends it with its data (of a request to the host). */
void ffs_stall(const struct ffs *ffs, bool to_host);
bool ffs_answer(const struct ffs *ffs, const void *bytes, size_t count);

/* Takes the data of a request to the device, and so ends it; the count, or -1. */
int ffs_take(const struct ffs *ffs, void *bytes, size_t count);

#endif
