/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "serial_latency.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What the drivers set when they are asked for low latency, and more than any of them allows. */
enum { BEST_MS = 1, MOST_MS = 10000 };

bool serial_latency_path(const char *root, const char *device, char *path, size_t size)
{
    const char *slash = device ? strrchr(device, '/') : NULL;
    const char *name = slash ? slash + 1 : device;
    int count;

    if (!name || name[0] == '\0' || strcmp(name, ".") == 0 || strcmp(name, "..") == 0)
        return false;
    count = snprintf(path, size, "%s/sys/bus/usb-serial/devices/%s/latency_timer", root, name);
    return count > 0 && (size_t)count < size;
}

int serial_latency_ms(const char *root, const char *device)
{
    char path[PATH_MAX];
    char text[16];
    char *end = text;
    long value = -1;
    FILE *file = serial_latency_path(root, device, path, sizeof path) ? fopen(path, "re") : NULL;

    if (!file)
        return -1;
    if (fgets(text, sizeof text, file))
        value = strtol(text, &end, 10);
    fclose(file);
    return end == text || value < 0 || value > MOST_MS ? -1 : (int)value;
}

void serial_latency_note(const char *root, const char *device, char *note, size_t size)
{
    int ms = serial_latency_ms(root, device);

    note[0] = '\0';
    if (ms <= BEST_MS)
        return;
    snprintf(note, size,
             "the adapter holds replies back for up to %d ms each (its latency timer); install "
             "config/60-gradus.rules for udev to set it to 1 ms, and plug it in again",
             ms);
}
