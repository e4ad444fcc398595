/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands before each piece of a reply on its way to a face that keeps
 * message boundaries, or can damage what it sends in ways a stream of bytes
 * cannot show. It stays inside the process, so it is a plain structure.
 */
#ifndef STANDIN_MARK_H
#define STANDIN_MARK_H

#include <stdint.h>

#define MARK_STRAY UINT32_MAX

struct mark {
    uint32_t count;   /* bytes that follow */
    uint32_t command; /* of the connection, from 1, that they answer; MARK_STRAY: as if none */
    uint8_t end;      /* not 0: the reply is over with them */
    uint8_t damage;   /* an enum fault_kind; FAULT_ARMED_KINDS: none */
};

#endif
