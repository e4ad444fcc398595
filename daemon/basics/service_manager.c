/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "service_manager.h"

#include <inttypes.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

/* A positive decimal number, or 0. */
static int64_t number_of(const char *text)
{
    char *end;
    if (text == NULL || *text < '0' || *text > '9')
        return 0;
    long long value = strtoll(text, &end, 10);
    return *end == '\0' ? value : 0;
}

/* Variables that a process has inherited may be meant for its parent. */
static bool is_meant(const char *pid)
{
    return pid == NULL || number_of(pid) == getpid();
}

struct service_manager service_manager_read(void)
{
    struct service_manager manager = { 0 };
    const char *socket = getenv("NOTIFY_SOCKET");
    const int64_t microseconds = number_of(getenv("WATCHDOG_USEC"));
    if (socket != NULL && (socket[0] == '/' || socket[0] == '@') &&
        strlen(socket) < sizeof manager.socket)
        memcpy(manager.socket, socket, strlen(socket) + 1);
    if (manager.socket[0] != '\0' && is_meant(getenv("WATCHDOG_PID")))
        manager.watchdog = duration_times((struct duration) { 1000 }, microseconds);
    unsetenv("NOTIFY_SOCKET");
    unsetenv("WATCHDOG_USEC");
    unsetenv("WATCHDOG_PID");
    return manager;
}

bool service_manager_tell(const struct service_manager *manager, const char *lines)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    const size_t length = strlen(manager->socket);
    if (length == 0)
        return true;
    memcpy(address.sun_path, manager->socket, length);
    if (address.sun_path[0] == '@')
        address.sun_path[0] = '\0';
    int descriptor = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (descriptor < 0)
        return false;
    const socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length);
    ssize_t sent = sendto(descriptor, lines, strlen(lines), MSG_NOSIGNAL | MSG_DONTWAIT,
                          (const struct sockaddr *)&address, size);
    close(descriptor);
    return sent == (ssize_t)strlen(lines);
}

bool service_manager_tell_reloading(const struct service_manager *manager, struct moment now)
{
    char text[80];
    snprintf(text, sizeof text, "RELOADING=1\nMONOTONIC_USEC=%" PRId64, now.ns / 1000);
    return service_manager_tell(manager, text);
}
