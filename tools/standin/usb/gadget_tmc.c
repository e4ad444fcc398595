/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A USBTMC device: one worker for both bulk endpoints, so that an answer is
 * only looked for when it is asked for, and one for interrupt messages.
 */
#include "ffs.h"
#include "gadget.h"
#include "tmc.h"
#include "tmc_request.h"
#include "tools/standin/basics/alloc.h"
#include "tools/standin/link/record.h"
#include "tools/standin/link/worker.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Bits of the status byte (IEEE 488.2, 11.2), and the first byte of a service request. */
enum { MESSAGE_AVAILABLE = 0x10, SERVICE_BIT = 0x40, SERVICE_NOTICE = 0x81, STATUS_NOTICE = 0x80 };
enum { NOTICE_SIZE = 2 };

struct tmc {
    struct gadget *gadget;
    struct worker *bulk;
    struct worker *notices;
    int notice_pipe[2];
    atomic_bool notice_waits;
    atomic_bool holding; /* a part of an answer that the host has not asked for yet */

    pthread_mutex_t lock;
    struct tmc_view view; /* under the lock */

    /* The bulk worker's own, and the loop's while it is parked. */
    struct tmc_out out;
    struct record record;
    uint8_t last;       /* byte of the command so far */
    uint32_t forwarded; /* ends of commands on this connection */
    uint8_t buffer[FFS_CHUNK];

    /* The loop's own, for tests. */
    bool remote_enabled;
    bool locked_out;
    json_int_t clears;
    json_int_t aborts;
    json_int_t pulses;
    atomic_int halts;
};

static const struct ffs_plan plan = {
    .interface_class = 0xfe,
    .subclass = 3,
    .protocol = 1,
    .interrupt = 8,
    .function = "USBTMC with USB488",
};

/* The worker tells what it is at. */
static void show_out(struct tmc *tmc)
{
    pthread_mutex_lock(&tmc->lock);
    tmc->view.out_open = tmc->out.open;
    tmc->view.out_tag = tmc->out.tag;
    if (tmc->out.received > 0)
        tmc->view.out_received = (uint32_t)tmc->out.received;
    pthread_mutex_unlock(&tmc->lock);
}

static void show_in(struct tmc *tmc, bool open, uint8_t tag, size_t sent)
{
    pthread_mutex_lock(&tmc->lock);
    tmc->view.in_open = open;
    tmc->view.in_tag = tag;
    tmc->view.in_sent = (uint32_t)sent;
    pthread_mutex_unlock(&tmc->lock);
}

static bool closing(struct tmc *tmc)
{
    pthread_mutex_lock(&tmc->lock);
    bool result = tmc->view.closing;
    pthread_mutex_unlock(&tmc->lock);
    return result;
}

static ssize_t send_in(struct tmc *tmc, const void *bytes, size_t count)
{
    return worker_write(tmc->bulk, gadget_ffs(tmc->gadget)->endpoints[FFS_IN], bytes, count);
}

/* Ends an aborted answer with an empty packet. */
static bool close_aborted(struct tmc *tmc)
{
    if (closing(tmc)) {
        if (send_in(tmc, "", 0) < 0)
            return false;
        pthread_mutex_lock(&tmc->lock);
        tmc->view.closing = false;
        pthread_mutex_unlock(&tmc->lock);
    }
    return true;
}

/* A command that begins takes the place of answers that nobody read (IEEE 488.2, 6.3.2.3). */
static bool drop_answers(struct tmc *tmc)
{
    int stream = gadget_stream(tmc->gadget);

    while (record_waits(&tmc->record, stream)) {
        if (!record_fill_any(&tmc->record, tmc->bulk, stream))
            return false;
        record_clear(&tmc->record);
    }
    /* Those that the port has still to give are void too. */
    tmc->record.void_to = tmc->forwarded;
    atomic_store(&tmc->holding, false);
    return true;
}

/* Hands command bytes to the port; an end of message ends the command there too. */
static bool forward(struct tmc *tmc, const uint8_t *data, size_t count, bool ended)
{
    int stream = gadget_stream(tmc->gadget);
    uint8_t end = (uint8_t)gadget_user(tmc->gadget)->command_end;

    if (count > 0)
        tmc->last = data[count - 1];
    for (size_t i = 0; i < count; i++)
        tmc->forwarded += data[i] == end;
    if (!worker_write_all(tmc->bulk, stream, data, count))
        return false;
    if (!ended || tmc->last == end)
        return true;
    tmc->forwarded++;
    return worker_write_all(tmc->bulk, stream, &end, 1);
}

/* Sends one transfer; false when called off or unplugged. */
static bool send_transfer(struct tmc *tmc, const uint8_t *bytes, size_t count)
{
    size_t packet = ffs_packet(gadget_ffs(tmc->gadget), FFS_IN);
    size_t done = 0;

    while (done < count) {
        size_t chunk = count - done < FFS_CHUNK ? count - done : FFS_CHUNK;

        if (send_in(tmc, bytes + done, chunk) < 0)
            return false;
        done += chunk;
        show_in(tmc, true, tmc->out.asked.tag, done);
    }
    return count % packet != 0 || send_in(tmc, "", 0) >= 0;
}

/* Sends as much of the record as the request takes. */
static bool send_answer(struct tmc *tmc)
{
    struct record *record = &tmc->record;
    const struct tmc_request *asked = &tmc->out.asked;
    const uint8_t *bytes = record->bytes + record->sent;
    size_t count = tmc_fitting(asked, bytes, record->count - record->sent);
    bool end = record->mark.end != 0 && record->sent + count == record->count;
    uint8_t *transfer = alloc_new(1, tmc_transfer_size(count));
    size_t size =
        tmc_answer(asked, bytes, count, end, (enum fault_kind)record->mark.damage, transfer);
    bool good = send_transfer(tmc, transfer, size);

    free(transfer);
    record->sent += count;
    return good;
}

static void answer(struct tmc *tmc)
{
    struct record *record = &tmc->record;

    show_in(tmc, true, tmc->out.asked.tag, 0);
    if (!record_fill(record, tmc->bulk, gadget_stream(tmc->gadget)))
        return;
    if (record->mark.damage == FAULT_HALTED) {
        ffs_halt(gadget_ffs(tmc->gadget), FFS_IN);
        record->sent = record->count;
    } else if (!send_answer(tmc)) {
        /* Aborted, cleared or unplugged: nothing of it may come later. */
        record->dropped = true;
        return;
    }
    show_in(tmc, false, tmc->out.asked.tag, tmc->view.in_sent);
    atomic_store(&tmc->holding, record->sent < record->count);
    if (record->mark.damage == FAULT_DISCONNECT_MID) {
        gadget_ask_drop(tmc->gadget);
        worker_rest(tmc->bulk);
    } else if (record->sent == record->count) {
        record_clear(record);
    }
}

static void take(struct tmc *tmc, size_t got)
{
    bool fresh = !tmc->out.open && !tmc->out.unended;
    const uint8_t *data;
    size_t count;
    enum tmc_step step = tmc_take(&tmc->out, tmc->buffer, got, &data, &count);

    show_out(tmc);
    if (step == TMC_REFUSED) {
        atomic_fetch_add(&tmc->halts, 1);
        ffs_halt(gadget_ffs(tmc->gadget), FFS_OUT);
    } else if (step == TMC_ASKED) {
        answer(tmc);
    } else if (!fresh || drop_answers(tmc)) {
        forward(tmc, data, count, step == TMC_ENDED);
    }
}

static void serve_bulk(void *argument)
{
    struct tmc *tmc = argument;
    const struct ffs *ffs = gadget_ffs(tmc->gadget);

    if (close_aborted(tmc)) {
        tmc->out.packet = ffs_packet(ffs, FFS_OUT);
        ssize_t got = worker_read(tmc->bulk, ffs->endpoints[FFS_OUT], tmc->buffer,
                                  tmc_wanted(&tmc->out, sizeof tmc->buffer));

        if (got >= 0) {
            if (got > 0)
                take(tmc, (size_t)got);
            return;
        }
    }
    /* Unplugged, or called off; the loop hears of it too. */
    worker_rest(tmc->bulk);
}

static void serve_notices(void *argument)
{
    struct tmc *tmc = argument;
    uint8_t notice[NOTICE_SIZE];

    if (!worker_read_all(tmc->notices, tmc->notice_pipe[0], notice, sizeof notice) ||
        worker_write(tmc->notices, gadget_ffs(tmc->gadget)->endpoints[FFS_INTERRUPT], notice,
                     sizeof notice) < 0) {
        worker_rest(tmc->notices);
        return;
    }
    atomic_store(&tmc->notice_waits, false);
}

static void close_pipe(struct tmc *tmc)
{
    if (tmc->notice_pipe[0] >= 0) {
        close(tmc->notice_pipe[0]);
        close(tmc->notice_pipe[1]);
        tmc->notice_pipe[0] = -1;
    }
}

static void *make(struct gadget *gadget)
{
    struct tmc *tmc = alloc_new(1, sizeof *tmc);

    tmc->gadget = gadget;
    tmc->notice_pipe[0] = -1;
    pthread_mutex_init(&tmc->lock, NULL);
    tmc->bulk = worker_new(serve_bulk, tmc);
    tmc->notices = worker_new(serve_notices, tmc);
    return tmc;
}

static void unmake(void *state)
{
    struct tmc *tmc = state;

    worker_free(tmc->bulk);
    worker_free(tmc->notices);
    record_clear(&tmc->record);
    close_pipe(tmc);
    pthread_mutex_destroy(&tmc->lock);
    free(tmc);
}

static void run_bulk(struct tmc *tmc)
{
    if (!gadget_stuck(tmc->gadget))
        worker_run(tmc->bulk);
}

/* A new connection of the port: it counts commands anew. */
static void forget_answers(struct tmc *tmc)
{
    record_clear(&tmc->record);
    tmc->record.void_to = 0;
    tmc->forwarded = 0;
    atomic_store(&tmc->holding, false);
}

/* As at power-on, but for the pipe of notices. */
static void forget(struct tmc *tmc)
{
    forget_answers(tmc);
    tmc->out = (struct tmc_out) { 0 };
    tmc->view = (struct tmc_view) { .scpi = gadget_user(tmc->gadget)->scpi };
}

static void begin(void *state)
{
    struct tmc *tmc = state;

    forget(tmc);
    close_pipe(tmc);
    if (pipe2(tmc->notice_pipe, O_CLOEXEC) != 0)
        abort();
    atomic_store(&tmc->notice_waits, false);
    run_bulk(tmc);
    worker_run(tmc->notices);
}

static void end(void *state)
{
    struct tmc *tmc = state;

    worker_park(tmc->bulk);
    worker_park(tmc->notices);
    forget(tmc);
    tmc->remote_enabled = false;
    tmc->locked_out = false;
}

static void notify(struct tmc *tmc, uint8_t first, uint8_t second)
{
    const uint8_t notice[NOTICE_SIZE] = { first, second };

    atomic_store(&tmc->notice_waits, true);
    if (write(tmc->notice_pipe[1], notice, sizeof notice) != (ssize_t)sizeof notice)
        abort();
}

/* The status byte; the record itself belongs to the worker. */
static uint8_t status(struct tmc *tmc)
{
    const struct gadget_user *user = gadget_user(tmc->gadget);
    static const struct record none = { 0 };
    bool waits = atomic_load(&tmc->holding) || record_waits(&none, gadget_stream(tmc->gadget));

    return (uint8_t)(user->status(user->argument) | (waits ? MESSAGE_AVAILABLE : 0));
}

static void clear(struct tmc *tmc)
{
    worker_park(tmc->bulk);
    forget(tmc);
    ffs_halt(gadget_ffs(tmc->gadget), FFS_OUT);
    gadget_renew(tmc->gadget);
    run_bulk(tmc);
    tmc->clears++;
}

static void abort_out(struct tmc *tmc)
{
    worker_park(tmc->bulk);
    tmc->out.open = false;
    tmc->out.unended = false;
    show_out(tmc);
    ffs_halt(gadget_ffs(tmc->gadget), FFS_OUT);
    /* What the port has of the command goes with the connection. */
    forget_answers(tmc);
    gadget_renew(tmc->gadget);
    run_bulk(tmc);
    tmc->aborts++;
}

static void abort_in(struct tmc *tmc)
{
    worker_park(tmc->bulk);
    /* A record that has not begun is no part of this answer. */
    tmc->record.dropped = tmc->record.marked > 0;
    atomic_store(&tmc->holding, false);
    tmc->view.in_open = false;
    tmc->view.closing = true;
    run_bulk(tmc);
    tmc->aborts++;
}

static void obey(struct tmc *tmc, enum tmc_order order, const struct gadget_setup *setup)
{
    switch (order) {
    case TMC_CLEAR:
        clear(tmc);
        break;
    case TMC_ABORT_OUT:
        abort_out(tmc);
        break;
    case TMC_ABORT_IN:
        abort_in(tmc);
        break;
    case TMC_PULSE:
        tmc->pulses++;
        break;
    case TMC_REMOTE_ENABLE:
        tmc->remote_enabled = true;
        break;
    case TMC_REMOTE_DISABLE:
        tmc->remote_enabled = false;
        tmc->locked_out = false;
        break;
    case TMC_LOCK_OUT:
        tmc->locked_out = tmc->remote_enabled;
        break;
    case TMC_TELL_STATUS:
        notify(tmc, (uint8_t)(STATUS_NOTICE | setup->value), status(tmc));
        break;
    default:
        break;
    }
}

static int setup_request(void *state, const struct gadget_setup *setup, uint8_t *bytes)
{
    struct tmc *tmc = state;
    enum tmc_order order;
    struct tmc_view view;
    bool unread = tmc_checks_clear(setup) && ffs_unread(gadget_ffs(tmc->gadget));

    pthread_mutex_lock(&tmc->lock);
    view = tmc->view;
    pthread_mutex_unlock(&tmc->lock);
    view.unread = unread;
    view.notice_waits = atomic_load(&tmc->notice_waits);
    int count = tmc_request(&view, setup, bytes, &order);
    obey(tmc, order, setup);
    return count;
}

static void stick(void *state, bool on)
{
    struct tmc *tmc = state;

    if (on)
        worker_park(tmc->bulk);
    else
        worker_run(tmc->bulk);
}

static void serve(void *state)
{
    struct tmc *tmc = state;

    if (!atomic_load(&tmc->notice_waits))
        notify(tmc, SERVICE_NOTICE, status(tmc) | SERVICE_BIT);
}

static void describe(void *state, json_t *object)
{
    struct tmc *tmc = state;

    json_object_set_new(object, "remote_enabled", json_boolean(tmc->remote_enabled));
    json_object_set_new(object, "locked_out", json_boolean(tmc->locked_out));
    json_object_set_new(object, "clears", json_integer(tmc->clears));
    json_object_set_new(object, "aborts", json_integer(tmc->aborts));
    json_object_set_new(object, "pulses", json_integer(tmc->pulses));
    json_object_set_new(object, "halts", json_integer(atomic_load(&tmc->halts)));
}

const struct gadget_protocol gadget_tmc = {
    .plan = &plan,
    .make = make,
    .unmake = unmake,
    .begin = begin,
    .end = end,
    .setup = setup_request,
    .stick = stick,
    .serve = serve,
    .describe = describe,
};
