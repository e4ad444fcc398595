/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A serial device on USB, with one worker for each direction. FunctionFS takes
 * no class-specific descriptors, so there is no union descriptor; the host's
 * driver then takes an interface with all three endpoints for a combined one,
 * provided that some descriptor stands before them.
 */
#include "acm.h"
#include "ffs.h"
#include "gadget.h"
#include "tools/standin/basics/alloc.h"
#include "tools/standin/link/record.h"
#include "tools/standin/link/worker.h"

#include <stdlib.h>

struct acm {
    struct gadget *gadget;
    struct worker *from_host;
    struct worker *to_host;
    struct acm_line line;
    struct record record;
    uint8_t buffer[FFS_CHUNK];
};

static const struct ffs_plan plan = {
    .interface_class = 2,
    .subclass = 2,
    .protocol = 1,
    .otg = true,
    .interrupt = 16,
    .function = "serial port",
};

/* Sends bytes, with an empty packet where the host would else wait for more. */
static bool send_bytes(struct acm *acm, const uint8_t *bytes, size_t count)
{
    const struct ffs *ffs = gadget_ffs(acm->gadget);
    int fd = ffs->endpoints[FFS_IN];
    size_t packet = ffs_packet(ffs, FFS_IN);

    for (size_t done = 0; done < count;) {
        size_t chunk = count - done < FFS_CHUNK ? count - done : FFS_CHUNK;

        if (worker_write(acm->to_host, fd, bytes + done, chunk) < 0)
            return false;
        done += chunk;
    }
    return count == 0 || count % packet != 0 || worker_write(acm->to_host, fd, "", 0) >= 0;
}

static bool send_notice(struct acm *acm, enum fault_kind damage)
{
    uint8_t notice[ACM_NOTICE];

    acm_notice(damage, notice);
    return worker_write(acm->to_host, gadget_ffs(acm->gadget)->endpoints[FFS_INTERRUPT], notice,
                        sizeof notice) >= 0;
}

static bool send_record(struct acm *acm)
{
    struct record *record = &acm->record;
    enum fault_kind damage = (enum fault_kind)record->mark.damage;
    size_t count = record->count;

    if (damage < FAULT_FRAMING || damage > FAULT_BREAK)
        return send_bytes(acm, record->bytes, count);
    size_t before = acm_damage(damage, record->bytes, &count);
    return send_bytes(acm, record->bytes, before) && send_notice(acm, damage) &&
           send_bytes(acm, record->bytes + before, count - before);
}

static void serve_to_host(void *argument)
{
    struct acm *acm = argument;

    if (!record_fill(&acm->record, acm->to_host, gadget_stream(acm->gadget)) || !send_record(acm)) {
        worker_rest(acm->to_host);
        return;
    }
    bool drop = acm->record.mark.damage == FAULT_DISCONNECT_MID;
    record_clear(&acm->record);
    if (drop) {
        gadget_ask_drop(acm->gadget);
        worker_rest(acm->to_host);
    }
}

static void serve_from_host(void *argument)
{
    struct acm *acm = argument;
    const struct ffs *ffs = gadget_ffs(acm->gadget);
    ssize_t got =
        worker_read(acm->from_host, ffs->endpoints[FFS_OUT], acm->buffer, ffs_packet(ffs, FFS_OUT));

    if (got < 0 ||
        !worker_write_all(acm->from_host, gadget_stream(acm->gadget), acm->buffer, (size_t)got))
        worker_rest(acm->from_host);
}

static void *make(struct gadget *gadget)
{
    struct acm *acm = alloc_new(1, sizeof *acm);

    acm->gadget = gadget;
    acm->line = acm_default();
    acm->from_host = worker_new(serve_from_host, acm);
    acm->to_host = worker_new(serve_to_host, acm);
    return acm;
}

static void unmake(void *state)
{
    struct acm *acm = state;

    worker_free(acm->from_host);
    worker_free(acm->to_host);
    record_clear(&acm->record);
    free(acm);
}

static void begin(void *state)
{
    struct acm *acm = state;

    if (!gadget_stuck(acm->gadget))
        worker_run(acm->from_host);
    worker_run(acm->to_host);
}

static void end(void *state)
{
    struct acm *acm = state;

    worker_park(acm->from_host);
    worker_park(acm->to_host);
    record_clear(&acm->record);
    acm->line = acm_default();
}

static int setup_request(void *state, const struct gadget_setup *setup, uint8_t *bytes)
{
    struct acm *acm = state;

    return acm_request(&acm->line, setup, bytes);
}

static void stick(void *state, bool on)
{
    struct acm *acm = state;

    if (on)
        worker_park(acm->from_host);
    else
        worker_run(acm->from_host);
}

static void describe(void *state, json_t *object)
{
    const struct acm *acm = state;
    const uint8_t *coding = acm->line.coding;

    json_object_set_new(object, "baud", json_integer(acm_baud(&acm->line)));
    json_object_set_new(object, "stop_bits", json_real(1.0 + coding[4] / 2.0));
    json_object_set_new(object, "parity", json_integer(coding[5]));
    json_object_set_new(object, "data_bits", json_integer(coding[6]));
    json_object_set_new(object, "dtr", json_boolean(acm->line.dtr));
    json_object_set_new(object, "rts", json_boolean(acm->line.rts));
    json_object_set_new(object, "breaks", json_integer(acm->line.breaks));
}

const struct gadget_protocol gadget_acm = {
    .plan = &plan,
    .make = make,
    .unmake = unmake,
    .begin = begin,
    .end = end,
    .takes = acm_takes,
    .setup = setup_request,
    .stick = stick,
    .describe = describe,
};
