/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "serial_list.h"

#include <dirent.h>
#include <fcntl.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const char folder[] = "/sys/class/tty";

/* The kernel keeps places for native ports that the machine may not have: their type is 0. */
static bool is_empty_place(const char *name)
{
    char path[PATH_MAX];
    char type[16] = "";
    ssize_t count;
    int file;

    snprintf(path, sizeof path, "%s/%s/type", folder, name);
    file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return false;
    count = read(file, type, sizeof type - 1);
    close(file);
    return count > 0 && strcmp(type, "0\n") == 0;
}

/* Consoles and pseudo-terminals are virtual devices. */
static bool has_hardware(const char *name)
{
    char path[PATH_MAX];
    char device[PATH_MAX] = "";

    snprintf(path, sizeof path, "%s/%s", folder, name);
    return readlink(path, device, sizeof device - 1) > 0 && !strstr(device, "/virtual/") &&
           !is_empty_place(name);
}

static int is_port(const struct dirent *entry)
{
    return entry->d_name[0] != '.' && has_hardware(entry->d_name);
}

/* Asks the library about one; NULL when it has gone meanwhile. */
static struct sp_port *look_at(const char *name)
{
    char node[PATH_MAX];
    struct sp_port *port = NULL;

    snprintf(node, sizeof node, "/dev/%s", name);
    return sp_get_port_by_name(node, &port) == SP_OK ? port : NULL;
}

struct sp_port **serial_list(struct failure *failure)
{
    struct dirent **names = NULL;
    int found = scandir(folder, &names, is_port, versionsort);
    struct sp_port **ports = found < 0 ? NULL : calloc((size_t)found + 1, sizeof(struct sp_port *));
    size_t count = 0;

    if (found < 0)
        failure_set(failure, FAILURE_SYSTEM, NULL, NULL, "list of serial ports: %m");
    else if (!ports)
        failure_no_memory(failure, "the list");
    for (int i = 0; i < found; i++) {
        if (ports && (ports[count] = look_at(names[i]->d_name)) != NULL)
            count++;
        free(names[i]);
    }
    free(names);
    return ports;
}
