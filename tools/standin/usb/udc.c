/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "udc.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static bool named(const struct udc *udc, struct problem *problem)
{
    return udc->file[0] != '\0' || problem_tell(problem, "its bench entry names no gadget");
}

static bool put(const struct udc *udc, const char *text, struct problem *problem)
{
    int fd = open(udc->file, O_WRONLY | O_CLOEXEC);
    bool good = fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text);

    if (!good)
        problem_tell(problem, "%s: %s", udc->file, strerror(errno));
    if (fd >= 0)
        close(fd);
    return good;
}

/* The controller that the gadget is bound to; empty: none. */
static bool bound(const struct udc *udc, char *name, size_t size, struct problem *problem)
{
    int fd = open(udc->file, O_RDONLY | O_CLOEXEC);
    ssize_t got = fd >= 0 ? read(fd, name, size - 1) : -1;

    if (got < 0) {
        problem_tell(problem, "%s: %s", udc->file, strerror(errno));
    } else {
        name[got] = '\0';
        name[strcspn(name, "\n")] = '\0';
    }
    if (fd >= 0)
        close(fd);
    return got >= 0;
}

bool udc_unplug(struct udc *udc, struct problem *problem)
{
    char name[sizeof udc->name];

    if (!named(udc, problem) || !bound(udc, name, sizeof name, problem))
        return false;
    if (name[0] == '\0')
        return true;
    memcpy(udc->name, name, sizeof udc->name);
    return put(udc, "\n", problem);
}

bool udc_plug(struct udc *udc, const char *name, struct problem *problem)
{
    if (!named(udc, problem))
        return false;
    if (name != NULL && strlen(name) >= sizeof udc->name)
        return problem_tell(problem, "udc: too long a name");
    if (name != NULL)
        snprintf(udc->name, sizeof udc->name, "%s", name);
    if (udc->name[0] == '\0')
        return problem_tell(problem, "udc: no controller is known yet");
    return put(udc, udc->name, problem);
}
