/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Devices are found without opening them: descriptors and texts are what the
 * kernel read when they were plugged in, and are in sysfs for everyone.
 */
#include "usb_find.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Interface class, subclass and protocol of USBTMC 1.00 and USB488 1.00. */
enum { CLASS = 0xfe, SUBCLASS = 3, PROTOCOL_USBTMC = 0, PROTOCOL_USB488 = 1 };

enum { MOST_PORTS = 7, LEAST_PACKET = 8, LARGEST_PACKET = 1024, PACKET_BITS = 0x7ff };

/* Reads one attribute of the device, a line of text; empty when it has none. */
static void read_attribute(const char *port, const char *name, char *text, size_t size)
{
    char path[128];
    FILE *file;

    text[0] = '\0';
    snprintf(path, sizeof path, "/sys/bus/usb/devices/%s/%s", port, name);
    file = fopen(path, "re");
    if (!file)
        return;
    if (!fgets(text, (int)size, file))
        text[0] = '\0';
    text[strcspn(text, "\n")] = '\0';
    fclose(file);
}

/* The name the kernel has for a place: bus, dash, ports with points between. */
static void name_port(libusb_device *device, char *text, size_t size)
{
    uint8_t ports[MOST_PORTS];
    int count = libusb_get_port_numbers(device, ports, MOST_PORTS);
    size_t length = (size_t)snprintf(text, size, "%d", libusb_get_bus_number(device));

    for (int i = 0; i < count && length < size; i++)
        length += (size_t)snprintf(text + length, size - length, "%c%d", i ? '.' : '-', ports[i]);
}

static void describe(libusb_device *device, const struct libusb_device_descriptor *descriptor,
                     struct usb_device_info *info)
{
    *info = (struct usb_device_info) { .vendor = descriptor->idVendor,
                                       .product = descriptor->idProduct };
    name_port(device, info->port, sizeof info->port);
    snprintf(info->node, sizeof info->node, "/dev/bus/usb/%03d/%03d", libusb_get_bus_number(device),
             libusb_get_device_address(device));
    read_attribute(info->port, "serial", info->serial, sizeof info->serial);
    read_attribute(info->port, "manufacturer", info->maker, sizeof info->maker);
    read_attribute(info->port, "product", info->model, sizeof info->model);
    info->may_open = access(info->node, R_OK | W_OK) == 0;
}

static void read_endpoint(const struct libusb_endpoint_descriptor *endpoint, struct usb_pipe *pipe)
{
    bool in = endpoint->bEndpointAddress & LIBUSB_ENDPOINT_IN;
    int type = endpoint->bmAttributes & LIBUSB_TRANSFER_TYPE_MASK;
    uint16_t packet = endpoint->wMaxPacketSize & PACKET_BITS;

    if (type == LIBUSB_TRANSFER_TYPE_BULK && !in && !pipe->out)
        pipe->out = endpoint->bEndpointAddress;
    else if (type == LIBUSB_TRANSFER_TYPE_BULK && in && !pipe->in && packet >= LEAST_PACKET &&
             packet <= LARGEST_PACKET) {
        pipe->in = endpoint->bEndpointAddress;
        pipe->in_packet = packet;
    }
}

/* Whether an interface is USBTMC and has what that needs; the standard knows one setting. */
static bool is_usbtmc(const struct libusb_interface *interface, struct usb_pipe *pipe)
{
    const struct libusb_interface_descriptor *setting = interface->altsetting;

    if (interface->num_altsetting < 1 || setting->bInterfaceClass != CLASS ||
        setting->bInterfaceSubClass != SUBCLASS ||
        (setting->bInterfaceProtocol != PROTOCOL_USBTMC &&
         setting->bInterfaceProtocol != PROTOCOL_USB488))
        return false;
    *pipe = (struct usb_pipe) { .interface = setting->bInterfaceNumber,
                                .usb488 = setting->bInterfaceProtocol == PROTOCOL_USB488 };
    for (int i = 0; i < setting->bNumEndpoints; i++)
        read_endpoint(&setting->endpoint[i], pipe);
    return pipe->in && pipe->out;
}

/* Fills in a device that is, or may yet turn out to be, a USBTMC one; false for others. */
static bool look_at(libusb_device *device, struct usb_found *found)
{
    struct libusb_device_descriptor descriptor;
    struct libusb_config_descriptor *config;
    bool fits = false;
    int code;

    *found = (struct usb_found) { .device = device };
    if (libusb_get_device_descriptor(device, &descriptor) != 0 ||
        descriptor.bDeviceClass == LIBUSB_CLASS_HUB)
        return false;
    code = libusb_get_active_config_descriptor(device, &config);
    if (code != 0 && code != LIBUSB_ERROR_NOT_FOUND)
        return false;
    for (int i = 0; code == 0 && i < config->bNumInterfaces && !fits; i++)
        fits = is_usbtmc(&config->interface[i], &found->pipe);
    if (code == 0)
        libusb_free_config_descriptor(config);
    found->configured = code == 0;
    if (code == 0 && !fits)
        return false;
    describe(device, &descriptor, &found->info);
    found->info.usb488 = found->pipe.usb488;
    return true;
}

static int by_port(const void *a, const void *b)
{
    const struct usb_found *left = a;
    const struct usb_found *right = b;

    return strverscmp(left->info.port, right->info.port);
}

struct usb_found *usb_find(libusb_context *context, size_t *count, struct failure *failure)
{
    libusb_device **devices;
    ssize_t all = libusb_get_device_list(context, &devices);
    struct usb_found *found;

    *count = 0;
    if (all < 0) {
        failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "list of USB devices: %s",
                    libusb_error_name((int)all));
        return NULL;
    }
    found = calloc((size_t)all + 1, sizeof *found);
    if (!found)
        failure_no_memory(failure, "a list of USB devices");
    for (ssize_t i = 0; found && i < all; i++) {
        if (look_at(devices[i], &found[*count])) {
            libusb_ref_device(devices[i]);
            (*count)++;
        }
    }
    libusb_free_device_list(devices, 1);
    if (found)
        qsort(found, *count, sizeof *found, by_port);
    return found;
}

void usb_find_free(struct usb_found *found, size_t count)
{
    for (size_t i = 0; found && i < count; i++)
        libusb_unref_device(found[i].device);
    free(found);
}
