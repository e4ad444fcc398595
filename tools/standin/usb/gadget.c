/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "gadget.h"

#include "ffs.h"
#include "tools/standin/basics/alloc.h"
#include "udc.h"

#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/usb/ch9.h>
#include <linux/usb/functionfs.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/eventfd.h>
#include <sys/socket.h>
#include <unistd.h>

struct gadget {
    const struct gadget_protocol *protocol;
    struct gadget_user user;
    void *state;
    struct ffs ffs;
    struct udc udc;
    struct event *control;
    struct event *asked;
    int ask; /* eventfd: a worker wants the connection dropped */
    int stream;
    bool connected;
    bool stuck;
};

const struct ffs *gadget_ffs(const struct gadget *gadget)
{
    return &gadget->ffs;
}

const struct gadget_user *gadget_user(const struct gadget *gadget)
{
    return &gadget->user;
}

int gadget_stream(const struct gadget *gadget)
{
    return gadget->stream;
}

bool gadget_stuck(const struct gadget *gadget)
{
    return gadget->stuck;
}

static void close_stream(struct gadget *gadget)
{
    if (gadget->stream >= 0) {
        close(gadget->stream);
        gadget->stream = -1;
    }
}

void gadget_renew(struct gadget *gadget)
{
    int pair[2];

    close_stream(gadget);
    if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, pair) != 0)
        abort();
    fcntl(pair[0], F_SETFL, O_RDWR | O_NONBLOCK);
    gadget->stream = pair[1];
    gadget->user.connected(gadget->user.argument, pair[0]);
}

static void end_connection(struct gadget *gadget)
{
    if (gadget->connected) {
        gadget->connected = false;
        gadget->protocol->end(gadget->state);
        gadget->user.gone(gadget->user.argument);
        close_stream(gadget);
    }
}

static void begin_connection(struct gadget *gadget)
{
    end_connection(gadget);
    gadget_renew(gadget);
    gadget->connected = true;
    gadget->protocol->begin(gadget->state);
}

static void handle_setup(struct gadget *gadget, const struct usb_ctrlrequest *request)
{
    const struct gadget_setup setup = {
        .type = request->bRequestType,
        .request = request->bRequest,
        .value = le16toh(request->wValue),
        .index = le16toh(request->wIndex),
        .length = le16toh(request->wLength),
    };
    const struct gadget_protocol *protocol = gadget->protocol;
    uint8_t bytes[GADGET_DATA] = { 0 };

    if (!gadget->connected) {
        ffs_stall(&gadget->ffs, (setup.type & USB_DIR_IN) != 0);
    } else if ((setup.type & USB_DIR_IN) != 0) {
        int count = protocol->setup(gadget->state, &setup, bytes);

        if (count < 0)
            ffs_stall(&gadget->ffs, true);
        else
            ffs_answer(&gadget->ffs, bytes, (size_t)(count < setup.length ? count : setup.length));
    } else if (protocol->takes == NULL || !protocol->takes(&setup) || setup.length > GADGET_DATA) {
        ffs_stall(&gadget->ffs, false);
    } else if (ffs_take(&gadget->ffs, bytes, setup.length) == setup.length) {
        protocol->setup(gadget->state, &setup, bytes);
    }
}

static void on_control(evutil_socket_t fd, short what, void *argument)
{
    struct gadget *gadget = argument;
    struct usb_functionfs_event event;

    (void)what;
    if (read(fd, &event, sizeof event) != (ssize_t)sizeof event)
        return;
    switch (event.type) {
    case FUNCTIONFS_ENABLE:
        begin_connection(gadget);
        break;
    case FUNCTIONFS_DISABLE:
    case FUNCTIONFS_UNBIND:
        end_connection(gadget);
        break;
    case FUNCTIONFS_SETUP:
        handle_setup(gadget, &event.u.setup);
        break;
    default:
        break;
    }
}

static void on_asked(evutil_socket_t fd, short what, void *argument)
{
    uint64_t count;

    (void)what;
    if (read(fd, &count, sizeof count) == (ssize_t)sizeof count)
        gadget_drop(argument);
}

void gadget_ask_drop(struct gadget *gadget)
{
    const uint64_t one = 1;
    ssize_t sent = write(gadget->ask, &one, sizeof one);

    (void)sent;
}

/* Where its plug is; false when the path is too long. */
static bool name_plug(struct gadget *gadget, const struct gadget_plan *plan,
                      struct problem *problem)
{
    struct udc *udc = &gadget->udc;
    int length =
        plan->folder[0] != '\0' ? snprintf(udc->file, sizeof udc->file, "%s/UDC", plan->folder) : 0;

    if ((size_t)length >= sizeof udc->file)
        return problem_tell(problem, "gadget: too long a path");
    return plan->udc[0] == '\0' || udc_plug(udc, plan->udc, problem);
}

struct gadget *gadget_open(struct event_base *base, const struct gadget_plan *plan,
                           struct problem *problem)
{
    struct gadget *gadget = alloc_new(1, sizeof *gadget);

    gadget->protocol = plan->protocol;
    gadget->user = plan->user;
    gadget->stream = -1;
    gadget->ask = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
    if (!ffs_open(&gadget->ffs, plan->mount, plan->protocol->plan, problem)) {
        gadget_close(gadget);
        return NULL;
    }
    gadget->state = plan->protocol->make(gadget);
    gadget->control = alloc_checked(
        event_new(base, gadget->ffs.control, EV_READ | EV_PERSIST, on_control, gadget));
    gadget->asked =
        alloc_checked(event_new(base, gadget->ask, EV_READ | EV_PERSIST, on_asked, gadget));
    event_add(gadget->control, NULL);
    event_add(gadget->asked, NULL);
    if (!name_plug(gadget, plan, problem)) {
        gadget_close(gadget);
        return NULL;
    }
    return gadget;
}

void gadget_close(struct gadget *gadget)
{
    struct problem ignored;

    if (gadget == NULL)
        return;
    end_connection(gadget);
    if (gadget->udc.file[0] != '\0')
        udc_unplug(&gadget->udc, &ignored);
    if (gadget->state != NULL) {
        gadget->protocol->unmake(gadget->state);
        event_free(gadget->control);
        event_free(gadget->asked);
    }
    ffs_close(&gadget->ffs);
    close_stream(gadget);
    close(gadget->ask);
    free(gadget);
}

bool gadget_unplug(struct gadget *gadget, struct problem *problem)
{
    /* First, so that no worker begins a transfer in between. */
    end_connection(gadget);
    return udc_unplug(&gadget->udc, problem);
}

bool gadget_plug(struct gadget *gadget, const char *udc, struct problem *problem)
{
    return udc_plug(&gadget->udc, udc, problem);
}

void gadget_drop(struct gadget *gadget)
{
    struct problem problem;

    if (!gadget->connected)
        return;
    if (gadget->udc.file[0] == '\0')
        begin_connection(gadget);
    else if (!gadget_unplug(gadget, &problem) || !gadget_plug(gadget, NULL, &problem))
        fprintf(stderr, "standin: %s\n", problem.text);
}

void gadget_stick(struct gadget *gadget, bool on)
{
    if (gadget->stuck != on) {
        gadget->stuck = on;
        if (gadget->connected)
            gadget->protocol->stick(gadget->state, on);
    }
}

bool gadget_serve(struct gadget *gadget)
{
    if (gadget->protocol->serve == NULL)
        return false;
    if (gadget->connected)
        gadget->protocol->serve(gadget->state);
    return true;
}

void gadget_describe(const struct gadget *gadget, json_t *object)
{
    json_object_set_new(object, "connected", json_boolean(gadget->connected));
    json_object_set_new(object, "udc", json_string(gadget->udc.name));
    gadget->protocol->describe(gadget->state, object);
}
