/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "scan.h"

#include "drivers/link/link.h"
#include "drivers/link/serial_list.h"
#include "drivers/usb/usb_device.h"

#include <dirent.h>
#include <libserialport.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

struct scan_device *scan_add(struct scan *scan)
{
    struct scan_device *devices = realloc(scan->devices, (scan->count + 1) * sizeof *scan->devices);

    if (!devices)
        return NULL;
    scan->devices = devices;
    devices[scan->count] = (struct scan_device) { .transport = "native" };
    return &devices[scan->count++];
}

void scan_free(struct scan *scan)
{
    free(scan->devices);
    *scan = (struct scan) { 0 };
}

/* Copies a text that may be missing; one that does not fit counts as not known. */
static void copy_text(char *out, size_t size, const char *text)
{
    size_t length = text ? strlen(text) : 0;

    if (length >= size)
        length = 0;
    memcpy(out, text ? text : "", length);
    out[length] = '\0';
}

static const char *transport_name(enum sp_transport transport)
{
    switch (transport) {
    case SP_TRANSPORT_USB:
        return "usb";
    case SP_TRANSPORT_BLUETOOTH:
        return "bluetooth";
    default:
        return "native";
    }
}

static bool add_port(struct scan *scan, const struct sp_port *port, struct failure *failure)
{
    struct scan_device *device = scan_add(scan);

    if (!device)
        return failure_no_memory(failure, "the list");
    device->kind = SCAN_SERIAL;
    device->transport = transport_name(sp_get_port_transport(port));
    copy_text(device->node, sizeof device->node, sp_get_port_name(port));
    copy_text(device->description, sizeof device->description, sp_get_port_description(port));
    copy_text(device->usb_serial, sizeof device->usb_serial, sp_get_port_usb_serial(port));
    if (sp_get_port_usb_vid_pid(port, &device->vendor, &device->product) != SP_OK)
        device->vendor = device->product = 0;
    return true;
}

static bool scan_serial(struct scan *scan, struct failure *failure)
{
    struct sp_port **ports = serial_list(failure);
    bool done = true;

    if (!ports)
        return false;
    for (size_t i = 0; done && ports[i]; i++)
        done = add_port(scan, ports[i], failure);
    sp_free_port_list(ports);
    return done;
}

static void describe_usb(struct scan_device *device, const struct usb_device_info *info)
{
    device->kind = SCAN_USBTMC;
    device->transport = "usb";
    device->vendor = info->vendor;
    device->product = info->product;
    device->denied = !info->may_open;
    copy_text(device->node, sizeof device->node, info->node);
    copy_text(device->usb_serial, sizeof device->usb_serial, info->serial);
    snprintf(device->description, sizeof device->description, "%s%s%s", info->maker,
             info->maker[0] != '\0' && info->model[0] != '\0' ? " " : "", info->model);
    usb_device_link(info, device->link, sizeof device->link);
}

/* Adds the USBTMC devices, links included. A machine without USB has none. */
static bool scan_usb(struct scan *scan, struct failure *failure)
{
    size_t count = 0;
    struct failure own = { 0 };
    struct usb_device_info *found = usb_device_list(&count, &own);
    bool done = true;

    if (!found)
        return own.code != FAILURE_NO_MEMORY ||
               failure_set(failure, own.code, NULL, NULL, "no memory for the list");
    for (size_t i = 0; done && i < count; i++) {
        struct scan_device *device = scan_add(scan);

        if (device)
            describe_usb(device, &found[i]);
        else
            done = failure_no_memory(failure, "the list");
    }
    free(found);
    return done;
}

/* Finds the link in a folder of udev's that leads to a node; the node's own path is resolved. */
static void find_name(const char *root, const char *folder, const char *resolved, char *name,
                      size_t size)
{
    char path[PATH_MAX];
    char target[PATH_MAX];
    const struct dirent *entry;
    DIR *dir;

    snprintf(path, sizeof path, "%s%s", root, folder);
    dir = opendir(path);
    name[0] = '\0';
    while (dir && name[0] == '\0' && (entry = readdir(dir)) != NULL) {
        int count = snprintf(path, sizeof path, "%s%s/%s", root, folder, entry->d_name);

        if (count > 0 && (size_t)count < sizeof path && entry->d_name[0] != '.' &&
            realpath(path, target) && strcmp(target, resolved) == 0)
            copy_text(name, size, path + strlen(root));
    }
    if (dir)
        closedir(dir);
}

void scan_names(const char *root, struct scan_device *device)
{
    char path[PATH_MAX];
    char resolved[PATH_MAX];

    snprintf(path, sizeof path, "%s%s", root, device->node);
    if (device->node[0] == '\0' || !realpath(path, resolved))
        return;
    find_name(root, "/dev/serial/by-id", resolved, device->by_id, sizeof device->by_id);
    find_name(root, "/dev/serial/by-path", resolved, device->by_path, sizeof device->by_path);
}

/* How many ports a link by vendor, product and (where it is known) serial number fits. */
static size_t count_fitting(const struct scan *scan, const struct scan_device *wanted)
{
    size_t count = 0;

    for (size_t i = 0; i < scan->count; i++) {
        const struct scan_device *device = &scan->devices[i];

        if (device->kind == SCAN_SERIAL && device->vendor == wanted->vendor &&
            device->product == wanted->product &&
            (wanted->usb_serial[0] == '\0' || strcmp(device->usb_serial, wanted->usb_serial) == 0))
            count++;
    }
    return count;
}

/* A serial number is as its maker wrote it: not every one can stand in a settings file. */
static bool is_plain(const char *text)
{
    for (; *text; text++)
        if (*text <= ' ' || *text > '~' || *text == '"' || *text == '\\')
            return false;
    return true;
}

static bool link_is_good(const char *link)
{
    struct link_spec spec;

    return link_spec_parse(link, NULL, &spec, NULL);
}

static bool link_by_ids(const struct scan *scan, const struct scan_device *device, char *link,
                        size_t size)
{
    int count;

    if (device->vendor == 0 || device->product == 0 || !is_plain(device->usb_serial) ||
        count_fitting(scan, device) != 1)
        return false;
    count = snprintf(link, size, "serial:usb:%04x:%04x%s%s", (unsigned)device->vendor,
                     (unsigned)device->product, device->usb_serial[0] == '\0' ? "" : ":",
                     device->usb_serial);
    return count > 0 && (size_t)count < size && link_is_good(link);
}

void scan_choose_link(const struct scan *scan, size_t index, char *link, size_t size)
{
    const struct scan_device *device = &scan->devices[index];
    const char *node = device->by_path[0] != '\0' ? device->by_path : device->node;

    if (link_by_ids(scan, device, link, size))
        return;
    snprintf(link, size, "serial:%s", strcmp(device->transport, "usb") == 0 ? node : device->node);
    if (!link_is_good(link))
        link[0] = '\0';
}

/* Reads "00:05:97", device in hexadecimal and inode, as far as the word goes. */
static bool is_inode(const char *word, unsigned major, unsigned minor, uint64_t inode)
{
    char *end;

    if (strtoul(word, &end, 16) != major || *end != ':')
        return false;
    if (strtoul(end + 1, &end, 16) != minor || *end != ':')
        return false;
    return strtoull(end + 1, &end, 10) == inode && (*end == ' ' || *end == '\n');
}

/* A line is "1: FLOCK  ADVISORY  WRITE 123 00:05:97 0 EOF"; no other word has that form. */
bool scan_locked(const char *locks, unsigned major, unsigned minor, uint64_t inode)
{
    const char *word = locks + strspn(locks, " \n");

    while (*word != '\0') {
        if (is_inode(word, major, minor, inode))
            return true;
        word += strcspn(word, " \n");
        word += strspn(word, " \n");
    }
    return false;
}

static void look_at_node(const char *root, const char *locks, struct scan_device *device)
{
    char path[PATH_MAX];
    struct stat status;

    snprintf(path, sizeof path, "%s%s", root, device->node);
    if (device->node[0] == '\0' || stat(path, &status) != 0)
        return;
    device->denied = access(path, R_OK | W_OK) != 0;
    device->in_use =
        scan_locked(locks, major(status.st_dev), minor(status.st_dev), (uint64_t)status.st_ino);
}

/* All that the file holds; its size is not known beforehand. Free with free(); NULL: nothing. */
static char *read_locks(const char *root)
{
    char path[PATH_MAX];
    char *text = NULL;
    size_t room = 0;
    FILE *file;

    snprintf(path, sizeof path, "%s/proc/locks", root);
    file = fopen(path, "re");
    if (!file)
        return NULL;
    if (getdelim(&text, &room, '\0', file) < 0) {
        free(text);
        text = NULL;
    }
    fclose(file);
    return text;
}

bool scan_list(const char *root, struct scan *scan, struct failure *failure)
{
    char *locks;

    if (!scan_serial(scan, failure) || !scan_usb(scan, failure))
        return false;
    locks = read_locks(root);
    for (size_t i = 0; i < scan->count; i++) {
        struct scan_device *device = &scan->devices[i];

        if (device->kind != SCAN_SERIAL)
            continue;
        scan_names(root, device);
        scan_choose_link(scan, i, device->link, sizeof device->link);
        look_at_node(root, locks ? locks : "", device);
    }
    free(locks);
    return true;
}
