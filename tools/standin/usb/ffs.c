/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ffs.h"

#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/usb/ch9.h>
#include <linux/usb/functionfs.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { FULL_SPEED_PACKET = 64, HIGH_SPEED_PACKET = 512, LARGEST_BLOB = 160 };
/* Both about 10 ms: frames at full speed, 2^(n-1) microframes at high speed. */
enum { FULL_SPEED_INTERVAL = 10, HIGH_SPEED_INTERVAL = 7 };
enum { ENGLISH = 0x0409 };

/* Descriptors in the making. */
struct blob {
    size_t count;
    uint8_t bytes[LARGEST_BLOB];
};

static void add(struct blob *blob, const void *bytes, size_t count)
{
    memcpy(blob->bytes + blob->count, bytes, count);
    blob->count += count;
}

static void add_number(struct blob *blob, uint32_t number)
{
    uint32_t little = htole32(number);

    add(blob, &little, sizeof little);
}

static void add_interface(struct blob *blob, const struct ffs_plan *plan)
{
    const struct usb_interface_descriptor interface = {
        .bLength = sizeof interface,
        .bDescriptorType = USB_DT_INTERFACE,
        .bNumEndpoints = FFS_ENDPOINTS,
        .bInterfaceClass = plan->interface_class,
        .bInterfaceSubClass = plan->subclass,
        .bInterfaceProtocol = plan->protocol,
        .iInterface = 1,
    };
    const struct usb_otg_descriptor otg = { .bLength = sizeof otg, .bDescriptorType = USB_DT_OTG };

    add(blob, &interface, sizeof interface);
    if (plan->otg)
        add(blob, &otg, sizeof otg);
}

/* The kernel puts the addresses that the controller really has in place of these. */
static void add_endpoint(struct blob *blob, uint8_t address, uint8_t type, uint16_t packet,
                         uint8_t interval)
{
    const struct usb_endpoint_descriptor_no_audio endpoint = {
        .bLength = sizeof endpoint,
        .bDescriptorType = USB_DT_ENDPOINT,
        .bEndpointAddress = address,
        .bmAttributes = type,
        .wMaxPacketSize = htole16(packet),
        .bInterval = interval,
    };

    add(blob, &endpoint, sizeof endpoint);
}

static void add_speed(struct blob *blob, const struct ffs_plan *plan, uint16_t packet,
                      uint8_t interval)
{
    add_interface(blob, plan);
    add_endpoint(blob, 1 | USB_DIR_OUT, USB_ENDPOINT_XFER_BULK, packet, 0);
    add_endpoint(blob, 2 | USB_DIR_IN, USB_ENDPOINT_XFER_BULK, packet, 0);
    add_endpoint(blob, 3 | USB_DIR_IN, USB_ENDPOINT_XFER_INT, plan->interrupt, interval);
}

static void write_length(struct blob *blob)
{
    uint32_t length = htole32((uint32_t)blob->count);

    memcpy(blob->bytes + sizeof(uint32_t), &length, sizeof length);
}

static bool send_descriptors(int control, const struct ffs_plan *plan)
{
    struct blob blob = { 0 };
    uint32_t count = 1 + plan->otg + FFS_ENDPOINTS;

    add_number(&blob, FUNCTIONFS_DESCRIPTORS_MAGIC_V2);
    add_number(&blob, 0);
    add_number(&blob, FUNCTIONFS_HAS_FS_DESC | FUNCTIONFS_HAS_HS_DESC);
    add_number(&blob, count);
    add_number(&blob, count);
    add_speed(&blob, plan, FULL_SPEED_PACKET, FULL_SPEED_INTERVAL);
    add_speed(&blob, plan, HIGH_SPEED_PACKET, HIGH_SPEED_INTERVAL);
    write_length(&blob);
    return write(control, blob.bytes, blob.count) == (ssize_t)blob.count;
}

static bool send_strings(int control, const struct ffs_plan *plan)
{
    struct blob blob = { 0 };
    uint16_t language = htole16(ENGLISH);

    add_number(&blob, FUNCTIONFS_STRINGS_MAGIC);
    add_number(&blob, 0);
    add_number(&blob, 1);
    add_number(&blob, 1);
    add(&blob, &language, sizeof language);
    add(&blob, plan->function, strlen(plan->function) + 1);
    write_length(&blob);
    return write(control, blob.bytes, blob.count) == (ssize_t)blob.count;
}

/*
 * Non-blocking, so that a write begun after an unplug fails: it would wait for
 * the next plug and then send what is stale. Transfers still block.
 */
static int open_file(const char *folder, const char *name)
{
    char path[256];
    int length = snprintf(path, sizeof path, "%s/%s", folder, name);

    if (length < 0 || (size_t)length >= sizeof path) {
        errno = ENAMETOOLONG;
        return -1;
    }
    return open(path, O_RDWR | O_CLOEXEC | O_NONBLOCK);
}

static bool open_endpoints(struct ffs *ffs, const char *folder)
{
    static const char *const names[FFS_ENDPOINTS] = { "ep1", "ep2", "ep3" };

    for (size_t e = 0; e < FFS_ENDPOINTS; e++) {
        ffs->endpoints[e] = open_file(folder, names[e]);
        if (ffs->endpoints[e] < 0)
            return false;
    }
    return true;
}

bool ffs_open(struct ffs *ffs, const char *folder, const struct ffs_plan *plan,
              struct problem *problem)
{
    *ffs = (struct ffs) { -1, { -1, -1, -1 } };
    ffs->control = open_file(folder, "ep0");
    if (ffs->control < 0 || !send_descriptors(ffs->control, plan) ||
        !send_strings(ffs->control, plan) || !open_endpoints(ffs, folder)) {
        problem_tell(problem, "%s: %s", folder, strerror(errno));
        ffs_close(ffs);
        return false;
    }
    /* What ends a control request must wait for the host. */
    fcntl(ffs->control, F_SETFL, O_RDWR);
    return true;
}

void ffs_close(struct ffs *ffs)
{
    for (size_t e = 0; e < FFS_ENDPOINTS; e++)
        if (ffs->endpoints[e] >= 0)
            close(ffs->endpoints[e]);
    if (ffs->control >= 0)
        close(ffs->control);
    *ffs = (struct ffs) { -1, { -1, -1, -1 } };
}

size_t ffs_packet(const struct ffs *ffs, enum ffs_endpoint endpoint)
{
    struct usb_endpoint_descriptor descriptor;

    if (ioctl(ffs->endpoints[endpoint], FUNCTIONFS_ENDPOINT_DESC, &descriptor) < 0)
        return HIGH_SPEED_PACKET;
    return le16toh(descriptor.wMaxPacketSize);
}

/* Input or output in the wrong direction halts an endpoint, and EBADMSG says that it did. */
bool ffs_halt(const struct ffs *ffs, enum ffs_endpoint endpoint)
{
    char byte = 0;
    ssize_t result = endpoint == FFS_OUT ? write(ffs->endpoints[endpoint], &byte, 1)
                                         : read(ffs->endpoints[endpoint], &byte, 1);

    return result < 0 && errno == EBADMSG;
}

bool ffs_unread(const struct ffs *ffs)
{
    if (!ffs_halt(ffs, FFS_IN))
        return errno == EAGAIN;
    ioctl(ffs->endpoints[FFS_IN], FUNCTIONFS_CLEAR_HALT);
    return false;
}

void ffs_stall(const struct ffs *ffs, bool to_host)
{
    char byte;

    /* The wrong direction again; the result can only be that it was done or is too late. */
    ssize_t result = to_host ? read(ffs->control, &byte, 0) : write(ffs->control, &byte, 0);

    (void)result;
}

bool ffs_answer(const struct ffs *ffs, const void *bytes, size_t count)
{
    return write(ffs->control, bytes, count) == (ssize_t)count;
}

int ffs_take(const struct ffs *ffs, void *bytes, size_t count)
{
    return (int)read(ffs->control, bytes, count);
}
