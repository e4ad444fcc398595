/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Waiting and transfer on a plain non-blocking descriptor, against the
 * monotonic clock: what streams and serial lines have in common.
 */
#ifndef GRADUS_DRIVERS_LINK_FD_H
#define GRADUS_DRIVERS_LINK_FD_H

#include "link.h"

/* How bytes get out: a socket must be kept from raising SIGPIPE. */
enum fd_kind { FD_SOCKET, FD_TERMINAL };

/* Waits until `events` (POLLIN, POLLOUT) or trouble shows; false when the deadline came first. */
bool fd_wait(int fd, short events, struct deadline deadline);

/* Makes a descriptor non-blocking and closed on exec. */
bool fd_prepare(int fd, struct failure *failure);

/* As link_ops.write. */
bool fd_write(int fd, enum fd_kind kind, const char *bytes, size_t count, struct deadline deadline,
              struct failure *failure);

/*
 * As link_ops.read, less the end mark. A read of no bytes is the end of the
 * link: a terminal must have VMIN at 1, or silence would look the same.
 */
enum link_result fd_read(int fd, char *bytes, size_t capacity, size_t *count,
                         struct deadline deadline, struct failure *failure);

/*
 * As link_ops.present, with one system call. A socket whose other side has
 * closed is gone once what came before has been read; a terminal is gone with
 * its hang-up, which is what pulling out an adapter leads to (tried, Linux 6.1).
 */
bool fd_present(int fd, enum fd_kind kind, struct failure *failure);

#endif
