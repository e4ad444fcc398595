/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A device is suspended by the kernel only while nobody holds its node open
 * (usbfs resumes it when it is opened and keeps it so until the last close,
 * unless asked otherwise, which is never done here). So no power setting in
 * sysfs is touched.
 */
#include "usb_device.h"

#include "usb_find.h"

#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    PAUSE_MS = 10,
    ARRIVAL_MS = 1000 /* a device is announced before its node is usable; own figure */
};

struct usb_device {
    libusb_context *context;
    libusb_device_handle *handle;
    struct usb_pipe pipe;
    bool claimed;
};

/* What libusb says: an I/O error is how an unplugged device shows first (tried, libusb 1.0.26). */
static enum pipe_result result_of(int code)
{
    switch (code) {
    case LIBUSB_SUCCESS:
        return PIPE_DONE;
    case LIBUSB_ERROR_TIMEOUT:
        return PIPE_TIMEOUT;
    case LIBUSB_ERROR_PIPE:
        return PIPE_STALL;
    case LIBUSB_ERROR_OVERFLOW:
        return PIPE_OVERFLOW;
    case LIBUSB_ERROR_IO:
    case LIBUSB_ERROR_NO_DEVICE:
    case LIBUSB_ERROR_NOT_FOUND:
        return PIPE_GONE;
    default:
        return PIPE_FAILED;
    }
}

/* Milliseconds for libusb, to which 0 is for ever; 0 when the deadline has passed. */
static unsigned time_left(struct deadline deadline)
{
    return (unsigned)deadline_poll_ms(deadline);
}

static enum pipe_result transfer(struct usb_device *device, uint8_t endpoint, unsigned char *bytes,
                                 size_t count, size_t *done, struct deadline deadline)
{
    unsigned left = time_left(deadline);
    int moved = 0;
    int code;

    *done = 0;
    if (left == 0)
        return PIPE_TIMEOUT;
    code = libusb_bulk_transfer(device->handle, endpoint, bytes, (int)count, &moved, left);
    *done = moved > 0 ? (size_t)moved : 0;
    return result_of(code);
}

static enum pipe_result device_bulk_out(void *self, const unsigned char *bytes, size_t count,
                                        size_t *sent, struct deadline deadline)
{
    struct usb_device *device = self;
    union {
        const unsigned char *given;
        unsigned char *taken; /* libusb only reads what goes out */
    } buffer = { .given = bytes };

    return transfer(device, device->pipe.out, buffer.taken, count, sent, deadline);
}

static enum pipe_result device_bulk_in(void *self, unsigned char *bytes, size_t capacity,
                                       size_t *count, struct deadline deadline)
{
    struct usb_device *device = self;

    return transfer(device, device->pipe.in, bytes, capacity, count, deadline);
}

static enum pipe_result device_control(void *self, const struct usb_setup *setup,
                                       unsigned char *bytes, size_t *count,
                                       struct deadline deadline)
{
    struct usb_device *device = self;
    unsigned left = time_left(deadline);
    int code;

    *count = 0;
    if (left == 0)
        return PIPE_TIMEOUT;
    code = libusb_control_transfer(device->handle, setup->type, setup->request, setup->value,
                                   setup->index, bytes, setup->length, left);
    *count = code > 0 ? (size_t)code : 0;
    return code < 0 ? result_of(code) : PIPE_DONE;
}

static enum pipe_result device_clear_halt(void *self, uint8_t endpoint, struct deadline deadline)
{
    struct usb_device *device = self;

    if (deadline_passed(deadline))
        return PIPE_TIMEOUT;
    return result_of(libusb_clear_halt(device->handle, endpoint));
}

static void pause_until(struct deadline deadline)
{
    poll(NULL, 0, deadline_poll_ms(deadline_sooner(deadline, deadline_in(PAUSE_MS))));
}

static void device_pause(void *self, struct deadline deadline)
{
    (void)self;
    pause_until(deadline);
}

static const struct usb_pipe_ops device_ops = {
    .bulk_out = device_bulk_out,
    .bulk_in = device_bulk_in,
    .control = device_control,
    .clear_halt = device_clear_halt,
    .pause = device_pause,
};

static bool begin(libusb_context **context, struct failure *failure)
{
    int code = libusb_init(context);

    return code == 0 || failure_set(failure, FAILURE_SYSTEM, NULL,
                                    "access to USB and to the kernel's device events", "USB: %s",
                                    libusb_error_name(code));
}

struct usb_device_info *usb_device_list(size_t *count, struct failure *failure)
{
    libusb_context *context;
    struct usb_device_info *infos = NULL;
    struct usb_found *found;
    size_t all;

    if (!begin(&context, failure))
        return NULL;
    found = usb_find(context, &all, failure);
    if (found) {
        *count = 0;
        infos = calloc(all + 1, sizeof *infos);
        if (!infos)
            failure_no_memory(failure, "USB devices");
        for (size_t i = 0; infos && i < all; i++)
            if (found[i].configured)
                infos[(*count)++] = found[i].info;
        usb_find_free(found, all);
    }
    libusb_exit(context);
    return infos;
}

char *usb_device_link(const struct usb_device_info *info, char *text, size_t size)
{
    bool named = info->serial[0] != '\0' &&
                 strlen(info->serial) < sizeof((struct link_spec *)NULL)->usb_serial;

    snprintf(text, size, "usb:%04x:%04x%s%s", (unsigned)info->vendor, (unsigned)info->product,
             named ? ":" : "", named ? info->serial : "");
    return text;
}

bool usb_device_fits(const struct usb_device_info *info, const struct link_spec *spec)
{
    if (spec->vendor && (info->vendor != spec->vendor || info->product != spec->product))
        return false;
    return spec->usb_serial[0] == '\0' || strcmp(info->serial, spec->usb_serial) == 0;
}

/* Outcomes of one look for the device. */
enum search { SEARCH_FOUND, SEARCH_ARRIVING, SEARCH_FAILED };

static enum search refuse_two(const struct link_spec *spec, const struct usb_device_info *one,
                              const struct usb_device_info *other, struct failure *failure)
{
    failure_set(failure, FAILURE_SETTINGS, NULL, "a link that only one of them fits",
                "%s: two devices fit, at port %s with serial number '%.40s' and at port %s with "
                "'%.40s'",
                spec->text, one->port, one->serial, other->port, other->serial);
    return SEARCH_FAILED;
}

/* Picks the one that fits. */
static enum search pick(const struct usb_found *found, size_t count, const struct link_spec *spec,
                        const struct usb_found **picked, struct failure *failure)
{
    *picked = NULL;
    for (size_t i = 0; i < count; i++) {
        if (!usb_device_fits(&found[i].info, spec))
            continue;
        if (*picked)
            return refuse_two(spec, &(*picked)->info, &found[i].info, failure);
        *picked = &found[i];
    }
    if (*picked)
        return (*picked)->configured ? SEARCH_FOUND : SEARCH_ARRIVING;
    failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL,
                "%s: no such USBTMC device is plugged in", spec->text);
    return SEARCH_FAILED;
}

static bool refused(const struct usb_device_info *info, const char *doing, int code,
                    struct failure *failure)
{
    char remedy[192];

    switch (code) {
    case LIBUSB_ERROR_ACCESS:
        snprintf(remedy, sizeof remedy,
                 "a udev rule: SUBSYSTEM==\"usb\", ATTR{idVendor}==\"%04x\", "
                 "ATTR{idProduct}==\"%04x\", MODE=\"0660\", GROUP=\"the daemon's group\"",
                 (unsigned)info->vendor, (unsigned)info->product);
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, remedy, "no permission for %s",
                           info->node);
    case LIBUSB_ERROR_BUSY:
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL,
                           "%s is in use by another program", info->node);
    case LIBUSB_ERROR_NO_MEM:
        return failure_no_memory(failure, info->node);
    default:
        return failure_set(failure, FAILURE_DISCONNECTED, NULL, NULL, "%s: %s: %s", info->node,
                           doing, libusb_error_name(code));
    }
}

/* The kernel's own driver is put aside while the interface is claimed. */
static bool take(struct usb_device *device, const struct usb_found *found, struct failure *failure)
{
    int code;

    libusb_set_auto_detach_kernel_driver(device->handle, 1);
    code = libusb_claim_interface(device->handle, found->pipe.interface);
    if (code != 0)
        return refused(&found->info, "claim", code, failure);
    device->claimed = true;
    device->pipe = found->pipe;
    device->pipe.ops = &device_ops;
    device->pipe.device = device;
    return true;
}

/* Looks once, and opens what there is. */
static enum search try_once(struct usb_device *device, const struct link_spec *spec,
                            struct failure *failure)
{
    size_t count;
    struct usb_found *found = usb_find(device->context, &count, failure);
    const struct usb_found *picked;
    enum search search = SEARCH_FAILED;
    int code;

    if (!found)
        return SEARCH_FAILED;
    search = pick(found, count, spec, &picked, failure);
    if (search == SEARCH_FOUND) {
        code = libusb_open(picked->device, &device->handle);
        if (code != 0)
            device->handle = NULL;
        if (code == LIBUSB_ERROR_NO_DEVICE)
            search = SEARCH_ARRIVING;
        else if (code != 0)
            search = refused(&picked->info, "open", code, failure) ? search : SEARCH_FAILED;
        else if (!take(device, picked, failure))
            search = SEARCH_FAILED;
    }
    usb_find_free(found, count);
    return search;
}

/* A new context for each look: an old one may never show a device that was plugged in since. */
static enum search look(struct usb_device *device, const struct link_spec *spec,
                        struct failure *failure)
{
    enum search search;

    if (!begin(&device->context, failure)) {
        device->context = NULL;
        return SEARCH_FAILED;
    }
    search = try_once(device, spec, failure);
    if (search == SEARCH_ARRIVING) {
        libusb_exit(device->context);
        device->context = NULL;
    }
    return search;
}

struct usb_device *usb_device_open(const struct link_spec *spec, struct deadline deadline,
                                   struct failure *failure)
{
    struct usb_device *device = calloc(1, sizeof *device);
    struct deadline limit = deadline_sooner(deadline, deadline_in(ARRIVAL_MS));
    enum search search = SEARCH_ARRIVING;

    if (!device) {
        failure_no_memory(failure, "a USB device");
        return NULL;
    }
    while (search == SEARCH_ARRIVING && !deadline_passed(limit)) {
        search = look(device, spec, failure);
        if (search == SEARCH_ARRIVING)
            pause_until(limit);
    }
    if (search == SEARCH_FOUND)
        return device;
    failure_set(failure, deadline_passed(deadline) ? FAILURE_TIMEOUT : FAILURE_DISCONNECTED, NULL,
                NULL, "%s: the device is not ready to be opened", spec->text);
    usb_device_close(device);
    return NULL;
}

struct usb_pipe usb_device_pipe(struct usb_device *device)
{
    return device->pipe;
}

void usb_device_close(struct usb_device *device)
{
    if (!device)
        return;
    if (device->claimed)
        libusb_release_interface(device->handle, device->pipe.interface);
    if (device->handle)
        libusb_close(device->handle);
    if (device->context)
        libusb_exit(device->context);
    free(device);
}
