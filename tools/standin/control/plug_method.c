/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "plug_method.h"

static struct gadget *gadget_of(struct bench *bench, json_t *params, struct problem *problem)
{
    const char *name = json_string_value(json_object_get(params, "instrument"));
    const struct seat *seat = bench_seat(bench, name, problem);
    struct gadget *gadget = seat != NULL ? port_gadget(seat->port) : NULL;

    if (seat != NULL && gadget == NULL)
        problem_tell(problem, "%s is no USB device", name);
    return gadget;
}

static const char *controller(json_t *params)
{
    return json_string_value(json_object_get(params, "udc"));
}

json_t *unplug_method(struct bench *bench, json_t *params, struct problem *problem)
{
    struct gadget *gadget = gadget_of(bench, params, problem);

    return gadget != NULL && gadget_unplug(gadget, problem) ? json_true() : NULL;
}

json_t *plug_method(struct bench *bench, json_t *params, struct problem *problem)
{
    struct gadget *gadget = gadget_of(bench, params, problem);

    return gadget != NULL && gadget_plug(gadget, controller(params), problem) ? json_true() : NULL;
}

json_t *replug_method(struct bench *bench, json_t *params, struct problem *problem)
{
    struct gadget *gadget = gadget_of(bench, params, problem);

    return gadget != NULL && gadget_unplug(gadget, problem) &&
                   gadget_plug(gadget, controller(params), problem)
               ? json_true()
               : NULL;
}

json_t *device_method(struct bench *bench, json_t *params, struct problem *problem)
{
    const struct gadget *gadget = gadget_of(bench, params, problem);

    if (gadget == NULL)
        return NULL;
    json_t *object = json_object();
    gadget_describe(gadget, object);
    return object;
}
