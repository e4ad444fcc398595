/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bytes to and from one instrument. A link is used by one thread; every call
 * that may wait takes an absolute deadline and never outlasts it.
 *
 * A kind of link is a `const struct link_ops`: TCP and Unix streams
 * (link_stream.c), serial lines (link_serial.c), USBTMC devices (link_usb.c).
 */
#ifndef GRADUS_DRIVERS_LINK_H
#define GRADUS_DRIVERS_LINK_H

#include "core/basics/failure.h"
#include "drivers/basics/deadline.h"

#include <stdbool.h>
#include <stddef.h>

enum link_kind { LINK_TCP, LINK_UNIX, LINK_SERIAL, LINK_USB };

enum flow_control { FLOW_NONE, FLOW_RTS_CTS, FLOW_XON_XOFF };

/* How a serial line is set. */
struct serial_line {
    int baud;      /* 300 to 921600 */
    int data_bits; /* 7 or 8 */
    char parity;   /* 'N', 'E', 'O' */
    int stop_bits; /* 1 or 2 */
    enum flow_control flow;
    bool dtr; /* level while open */
    bool rts; /* level while open; ignored with FLOW_RTS_CTS */
};

/*
 * Where an instrument is. Text forms:
 *     tcp:HOST:PORT     tcp:[IPV6]:PORT
 *     unix:/PATH
 *     serial:/dev/NAME  (or any link below /dev that leads to one)
 *     serial:usb:VVVV:PPPP[:SERIAL]   an adapter: vendor, product in hexadecimal
 *     usb:VVVV:PPPP[:SERIAL]          an instrument that speaks USBTMC
 *     usb:serial:SERIAL
 */
struct link_spec {
    enum link_kind kind;
    char text[256];    /* as written */
    char address[200]; /* host, or path */
    int port;          /* TCP */
    int vendor;        /* USB vendor and product; 0: by path, or by USB serial number */
    int product;
    char usb_serial[64]; /* empty: any */
    struct serial_line line;
    /*
     * USBTMC: the byte that ends every reply, for a device that can end one there
     * and forgets to mark ends itself; only where no reply holds it inside.
     */
    bool has_end_byte;
    unsigned char end_byte;
};

/* 9600 8N1, no flow control, DTR and RTS on. */
struct serial_line serial_line_default(void);

/* Reads "8N1", "7E1", ... Returns false when it is none of that form. */
bool serial_framing_parse(const char *text, struct serial_line *line);

/* Reads the text form; the serial line is left at `line` (NULL: the default). */
bool link_spec_parse(const char *text, const struct serial_line *line, struct link_spec *spec,
                     struct failure *failure);

/* What came of waiting for bytes. */
enum link_result {
    LINK_BYTES, /* at least one byte was read */
    LINK_QUIET, /* the deadline came first; the link is as it was */
    LINK_BROKEN /* the link is gone; failure says why. Close it. */
};

struct link;

/*
 * One kind of link. Members are called by one thread at a time and may block
 * until the deadline, not longer. `self` is what open returned.
 */
struct link_ops {
    const char *name;
    /*
     * The link itself marks the end of a message, a read is a request to talk,
     * and nothing comes unasked. A read that stays quiet has taken its request back.
     */
    bool marks_end;
    /* Opens; NULL with the failure set (FAILURE_DISCONNECTED, FAILURE_TIMEOUT, ...). */
    void *(*open)(const struct link_spec *spec, struct deadline deadline, struct failure *failure);
    /* Writes all of it, or fails; a part may be out when it fails. */
    bool (*write)(void *self, const char *bytes, size_t count, struct deadline deadline,
                  struct failure *failure);
    /*
     * Reads at least one byte, at most `capacity`. Sets *end when the link
     * itself marks the end of a message (no stream or serial line does). With
     * a deadline that has passed it still takes what is there, without waiting.
     */
    enum link_result (*read)(void *self, char *bytes, size_t capacity, size_t *count, bool *end,
                             struct deadline deadline, struct failure *failure);
    /*
     * Clears the instrument's input and output by the link's own means.
     * NULL where a link has none.
     */
    bool (*clear)(void *self, struct deadline deadline, struct failure *failure);
    /*
     * Whether characters were damaged since the last call (framing, parity,
     * overrun, break). NULL where a link cannot tell.
     */
    bool (*damaged)(void *self);
    /*
     * Whether the other side is still plugged in, without waiting and without
     * a byte to the instrument. False only when it is surely gone; the link
     * is then broken. NULL where a link can only tell by talking.
     */
    bool (*present)(void *self, struct failure *failure);
    /*
     * What about this link costs the user time or trust and could be mended,
     * in plain words; an empty string for nothing. NULL where there never is.
     */
    const char *(*note)(void *self);
    /* Closes and frees. Accepts a broken link. */
    void (*close)(void *self);
};

/* Makes a link of what a kind's open returned; closes `self` and returns NULL on failure. */
struct link *link_wrap(const struct link_ops *ops, void *self, struct failure *failure);

/* Writes all of `bytes` by the deadline, or fails; see link_ops.write. */
bool link_write(struct link *link, const char *bytes, size_t count, struct deadline deadline,
                struct failure *failure);

/* Reads what there is, waiting until the deadline for the first byte; see link_ops.read. */
enum link_result link_read(struct link *link, char *bytes, size_t capacity, size_t *count,
                           bool *end, struct deadline deadline, struct failure *failure);

/* False with no failure recorded where the kind of link has no device clear. */
bool link_clear(struct link *link, struct deadline deadline, struct failure *failure);

/* Whether characters were damaged since the last call; false where the link cannot tell. */
bool link_damaged(struct link *link);

/* Whether the other side is still there; true where the link cannot tell. See link_ops.present. */
bool link_present(struct link *link, struct failure *failure);

/* What could be better about the link; an empty string for nothing. Lives as long as the link. */
const char *link_note(struct link *link);

/* Whether this kind of link marks the end of a message itself. */
bool link_marks_end(const struct link *link);

/* Accepts NULL. */
void link_close(struct link *link);

#endif
