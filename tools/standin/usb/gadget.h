/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An instrument's face as a USB device, on a FunctionFS that a script has
 * mounted. Bus events and control requests are handled in the event loop; bulk
 * and interrupt transfers, which can only block, in workers of the protocol.
 * Each configuration of the device by a host, and each clear, is a new
 * connection of the port through a new pair of sockets, so that nothing of the
 * one before can be left in it.
 */
#ifndef STANDIN_GADGET_H
#define STANDIN_GADGET_H

#include "tools/standin/basics/problem.h"

#include <event2/event.h>
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct ffs;
struct ffs_plan;
struct gadget;

/* A control request; an endpoint in `index` is its number among the descriptors, from 1. */
struct gadget_setup {
    uint8_t type;
    uint8_t request;
    uint16_t value;
    uint16_t index;
    uint16_t length;
};

enum { GADGET_DATA = 64 };

/* A protocol on the three endpoints. All but `pass`es of its workers run in the loop. */
struct gadget_protocol {
    const struct ffs_plan *plan;
    /* Makes the state of one device, with parked workers; frees it. */
    void *(*make)(struct gadget *gadget);
    void (*unmake)(void *state);
    /* A new connection is there, serve it; it goes, so park the workers and forget all of it. */
    void (*begin)(void *state);
    void (*end)(void *state);
    /* Whether a request with data to the device, or none, is known. NULL: none is. */
    bool (*takes)(const struct gadget_setup *setup);
    /*
     * Carries out a request; `bytes` (GADGET_DATA) are its data, or take those
     * of the reply. Returns their count, or -1 to stall a request to the host.
     */
    int (*setup)(void *state, const struct gadget_setup *setup, uint8_t *bytes);
    /* Takes nothing more from the host, or again. */
    void (*stick)(void *state, bool on);
    /* Asks the host for service; NULL: it cannot. */
    void (*serve)(void *state);
    /* Adds what a test may want to know. */
    void (*describe)(void *state, json_t *object);
};

extern const struct gadget_protocol gadget_tmc;
extern const struct gadget_protocol gadget_acm;

/* What the user of a gadget is told, and asked; in the loop. */
struct gadget_user {
    void *argument;
    char command_end;
    bool scpi;
    void (*connected)(void *argument, int fd); /* takes over the descriptor */
    void (*gone)(void *argument);
    unsigned (*status)(void *argument); /* status byte, without what the face knows */
};

/* How a gadget is opened; texts are copied. */
struct gadget_plan {
    const struct gadget_protocol *protocol;
    const char *mount;  /* of the FunctionFS */
    const char *folder; /* configfs folder of the gadget, for plugging; empty: not known */
    const char *udc;    /* controller to plug it into at once; empty: none */
    struct gadget_user user;
};

/* Writes the descriptors and waits for a host. NULL with the problem told. */
struct gadget *gadget_open(struct event_base *base, const struct gadget_plan *plan,
                           struct problem *problem);

/* Unplugs, if it knows how, and ends the workers. Accepts NULL. */
void gadget_close(struct gadget *gadget);

/* Unplugs; plugs into a controller (NULL: where it was last). */
bool gadget_unplug(struct gadget *gadget, struct problem *problem);
bool gadget_plug(struct gadget *gadget, const char *udc, struct problem *problem);

/* What a broken connection is here: out and in again where that can be done, else a clear. */
void gadget_drop(struct gadget *gadget);

/* Takes nothing more from the host, or again. */
void gadget_stick(struct gadget *gadget, bool on);

/* Asks the host for service; false when the protocol cannot. */
bool gadget_serve(struct gadget *gadget);

/* What a test may want to know. */
void gadget_describe(const struct gadget *gadget, json_t *object);

/* For protocols: the endpoints, the user, and the blocking stream to and from the port. */
const struct ffs *gadget_ffs(const struct gadget *gadget);
const struct gadget_user *gadget_user(const struct gadget *gadget);
int gadget_stream(const struct gadget *gadget);

/* For protocols: whether nothing is to be taken from the host. */
bool gadget_stuck(const struct gadget *gadget);

/* For protocols, in the loop: a new connection, as after a clear. The workers must be parked. */
void gadget_renew(struct gadget *gadget);

/* For protocols, in a worker: has the loop drop the connection. */
void gadget_ask_drop(struct gadget *gadget);

#endif
