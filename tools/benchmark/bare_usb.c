/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "bare_usb.h"

#include "stream.h"

#include <libusb-1.0/libusb.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { HEADER = 12, PACKET = 512, PATIENCE_MS = 10000 };

struct bare_usb {
    libusb_context *context;
    libusb_device_handle *handle;
    unsigned char out;
    unsigned char in;
    unsigned char tag;
    size_t room;
    unsigned char *bytes;
};

static void must(int code, const char *what)
{
    if (code < 0)
        give_up("%s: %s", what, libusb_error_name(code));
}

/* The device has one interface: the bench's own. */
static void find_endpoints(struct bare_usb *usb)
{
    struct libusb_config_descriptor *config;
    must(libusb_get_active_config_descriptor(libusb_get_device(usb->handle), &config), "config");
    const struct libusb_interface_descriptor *interface = &config->interface[0].altsetting[0];
    for (int i = 0; i < interface->bNumEndpoints; i++) {
        const struct libusb_endpoint_descriptor *endpoint = &interface->endpoint[i];
        if ((endpoint->bmAttributes & LIBUSB_TRANSFER_TYPE_MASK) != LIBUSB_TRANSFER_TYPE_BULK)
            continue;
        if (endpoint->bEndpointAddress & LIBUSB_ENDPOINT_IN)
            usb->in = endpoint->bEndpointAddress;
        else
            usb->out = endpoint->bEndpointAddress;
    }
    libusb_free_config_descriptor(config);
}

struct bare_usb *bare_usb_open(int vendor, int product)
{
    struct bare_usb *usb = calloc(1, sizeof *usb);
    if (usb == NULL)
        give_up("no memory");
    must(libusb_init(&usb->context), "libusb");
    usb->handle =
        libusb_open_device_with_vid_pid(usb->context, (uint16_t)vendor, (uint16_t)product);
    if (usb->handle == NULL)
        give_up("no device %04x:%04x", (unsigned)vendor, (unsigned)product);
    libusb_set_auto_detach_kernel_driver(usb->handle, 1);
    must(libusb_claim_interface(usb->handle, 0), "claim");
    find_endpoints(usb);
    return usb;
}

/* A header of a message out (1) or of a request for one in (2), and the text behind it. */
static void send(struct bare_usb *usb, int kind, size_t size, const char *text)
{
    unsigned char message[PACKET] = { (unsigned char)kind };
    size_t length = HEADER + (text != NULL ? (size + 3) / 4 * 4 : 0);
    int sent;
    usb->tag = usb->tag == 255 ? 1 : (unsigned char)(usb->tag + 1);
    message[1] = usb->tag;
    message[2] = (unsigned char)~usb->tag;
    for (int i = 0; i < 4; i++)
        message[4 + i] = (unsigned char)(size >> 8 * i);
    message[8] = text != NULL;
    if (text != NULL)
        memcpy(message + HEADER, text, size);
    must(libusb_bulk_transfer(usb->handle, usb->out, message, (int)length, &sent, PATIENCE_MS),
         "bulk out");
}

size_t bare_usb_ask(struct bare_usb *usb, const char *query, size_t most)
{
    size_t room = (HEADER + most + PACKET) / PACKET * PACKET;
    int count = 0;
    if (room > usb->room) {
        free(usb->bytes);
        usb->bytes = malloc(room);
        usb->room = room;
    }
    if (usb->bytes == NULL)
        give_up("no memory");
    send(usb, 1, strlen(query), query);
    send(usb, 2, most, NULL);
    must(libusb_bulk_transfer(usb->handle, usb->in, usb->bytes, (int)room, &count, PATIENCE_MS),
         "bulk in");
    return (size_t)count > HEADER ? (size_t)count - HEADER : 0;
}

void bare_usb_close(struct bare_usb *usb)
{
    libusb_release_interface(usb->handle, 0);
    libusb_close(usb->handle);
    libusb_exit(usb->context);
    free(usb->bytes);
    free(usb);
}
