/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One USBTMC session: whole messages to an instrument and whole answers back.
 *
 * Nothing comes over this link unasked: a read is a request to talk, and its
 * answer bears the request's number. What went wrong leaves a session that
 * has to be *tidied*: a transfer under way is aborted, and an answer that may
 * still come for an old message is cleared away before a new message goes
 * out. Until that has worked, nothing is sent and nothing is read.
 *
 * No call outlasts its deadline. A read stops waiting a little sooner
 * (a quarter of its time, 100 ms at most) to have time for tidying; what that
 * does not suffice for is done first by the next call.
 */
#ifndef GRADUS_DRIVERS_USBTMC_H
#define GRADUS_DRIVERS_USBTMC_H

#include "core/basics/failure.h"
#include "drivers/basics/deadline.h"
#include "drivers/link/link.h"
#include "usb_pipe.h"

#include <stdbool.h>
#include <stddef.h>

struct usbtmc;

/*
 * Begins a session: reads what the device says it can do, clears it, so that
 * nothing of a former user is left, and takes it into remote control
 * where it can be. `pipe` is copied; its device must outlive the session.
 * NULL with the failure set. End with usbtmc_close().
 */
struct usbtmc *usbtmc_open(const struct usb_pipe *pipe, struct deadline deadline,
                           struct failure *failure);

/*
 * Has every answer end at a byte, where the device can do that (TermChar);
 * otherwise nothing changes. What a device holds behind such an end without
 * having marked it is cleared away before the next message.
 */
void usbtmc_end_at(struct usbtmc *session, unsigned char byte);

/*
 * Sends one message, its end marked. Throws away whatever is left of an
 * earlier answer first. False with the failure set; what the instrument got
 * of the message is then void.
 */
bool usbtmc_write(struct usbtmc *session, const char *bytes, size_t count, struct deadline deadline,
                  struct failure *failure);

/*
 * Takes at most `capacity` bytes of the answer, asking the instrument for it
 * when none of it is here yet; *end with its last byte. A deadline that has
 * passed asks nothing: LINK_QUIET.
 *
 * LINK_QUIET: nothing of the answer came in time, and the request was taken
 * back; a later read asks again. LINK_BROKEN: the answer is lost, damaged,
 * cut or not ours, or the device is gone.
 */
enum link_result usbtmc_read(struct usbtmc *session, char *bytes, size_t capacity, size_t *count,
                             bool *end, struct deadline deadline, struct failure *failure);

/*
 * Empties the device's input and output. A device that refuses is drained and
 * taken out of its halts instead.
 */
bool usbtmc_clear(struct usbtmc *session, struct deadline deadline, struct failure *failure);

/*
 * Asks the device for its USB status, which no instrument's firmware notices.
 * False only when it is surely gone. Waits at most 100 ms.
 */
bool usbtmc_present(struct usbtmc *session, struct failure *failure);

/*
 * Tidies, hands the instrument back to its front panel where that was taken,
 * and frees; takes 200 ms at most. Accepts NULL and a device that is gone.
 */
void usbtmc_close(struct usbtmc *session);

#endif
