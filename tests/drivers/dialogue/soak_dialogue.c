/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Many dialogues at once with instruments that misbehave at random, each
 * reading unique, so that one taken for the answer to another query shows.
 *
 *     soak_dialogue [DIALOGUES [SEED [THREADS]]]
 *
 * A thread plays one dialogue after the other against an instrument of its
 * own (a second thread behind a Unix socket). A dialogue opens the link, asks
 * a few queries while the instrument has its faults, and must come in step and
 * get an answer once the faults are switched off. Exit status 1 if a value was
 * given to the wrong query, a call outlasted its deadline by more than
 * SLACK_MS, or a dialogue did not recover. Time in which the thread was ready
 * to run and a busy machine did not let it is not counted as outlasting.
 *
 * Left out, because no text link can tell: a whole, well-formed reply that
 * nobody asked for and that arrives between a query and its own reply.
 */
#include "drivers/basics/deadline.h"
#include "drivers/dialogue/dialogue.h"
#include "drivers/dialogue/response.h"

#include <fcntl.h>
#include <inttypes.h>
#include <math.h>
#include <poll.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

enum {
    SLACK_MS = 3000, /* generous: many threads share few processors, sanitizers included */
    QUERIES = 4,     /* of a dialogue while there are faults */
    FAULTY = 25,     /* percent of the queries */
    FAULTY_IDENTITY = 8,
    RECOVERY_TRIES = 50,
    REPLY_MS = 20,
    QUIET_MS = 5,
    REPLY_LIMIT = 4096,
    MESSAGE = 256,
    REPLY = 512,
    MOST_THREADS = 1024
};

/* What an instrument does with a query instead of answering it. */
enum fault {
    FAULT_NONE,
    FAULT_LATE,
    FAULT_DROPPED,
    FAULT_HALF,
    FAULT_HALF_LATE,
    FAULT_SPLIT,
    FAULT_GLUED,
    FAULT_GLUED_BEFORE,
    FAULT_DUPLICATE,
    FAULT_GARBAGE,
    FAULT_BABBLE,
    FAULT_DISCONNECT,
    FAULT_DISCONNECT_IN_REPLY,
    FAULT_WRONG_IDENTITY,
    FAULT_COUNT
};

static const char *const fault_names[] = { "none",
                                           "late",
                                           "dropped",
                                           "half",
                                           "half late",
                                           "split",
                                           "glued",
                                           "glued before",
                                           "duplicate",
                                           "garbage",
                                           "babble",
                                           "disconnect",
                                           "disconnect in reply",
                                           "wrong identity" };

/* The ways instruments are talked to. */
static const struct speech {
    enum framing framing;
    const char *command_end;
    const char *reply_end;
    bool echo;
    const char *prompt;
} speeches[] = {
    { FRAMING_488, "\n", "\n", false, "" },
    { FRAMING_LINE, "\r", "\r\n", false, "" },
    { FRAMING_LINE, "\r", "\r\n", true, "> " },
};

struct counts {
    uint64_t dialogues, queries, answers, failures[FAILURE_CODE_COUNT], resynchronised, opened;
    uint64_t wrong, outlasted, lost;
    double worst_ms;      /* most a call outlasted its deadline */
    double worst_held_ms; /* the same, with the time the machine held it up */
};

/* One thread, its instrument, and what it has seen. */
struct worker {
    unsigned index;
    const struct speech *speech;
    struct protocol protocol;
    struct link_spec spec;
    char path[64];
    struct counts counts;
    uint64_t random;
    uint64_t asked; /* queries so far; the next one's number */
    int schedule;   /* what the kernel says about this thread; -1: nothing */
    /* The instrument's side. */
    int listener;
    int fd;
    uint64_t peer_random;
    unsigned wrong_identities; /* still to be given */
    uint64_t faults[FAULT_COUNT];
    atomic_bool faulty;
    atomic_bool stop;
};

/* What all threads share: how many dialogues are still to be played. */
static atomic_long to_play;

/* xorshift64*: the same numbers from the same seed everywhere. */
static uint64_t draw(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

/* A number from `low` to `high`. */
static unsigned between(uint64_t *state, unsigned low, unsigned high)
{
    return low + (unsigned)((draw(state) >> 33) % (high - low + 1));
}

/* Lets time pass as a slow instrument does; nothing is waited for. */
static void pass(unsigned ms)
{
    poll(NULL, 0, (int)ms);
}

static void hang_up(struct worker *worker)
{
    if (worker->fd >= 0)
        close(worker->fd);
    worker->fd = -1;
}

static void put(struct worker *worker, const char *bytes, size_t count)
{
    if (worker->fd >= 0 && send(worker->fd, bytes, count, MSG_NOSIGNAL) != (ssize_t)count)
        hang_up(worker);
}

static void put_text(struct worker *worker, const char *text)
{
    put(worker, text, strlen(text));
}

/* The reply to query `number`, as it stands on the line, without echo and prompt. */
static void write_reading(const struct worker *worker, uint64_t number, char out[64])
{
    if (worker->speech->framing == FRAMING_488)
        snprintf(out, 64, "+%09" PRIu64 ".5E+0%s", number, worker->speech->reply_end);
    else
        snprintf(out, 64, "STEADY VOLTS %09" PRIu64 "%s", number, worker->speech->reply_end);
}

static void write_reply(const struct worker *worker, const char *message, const char *reading,
                        char out[REPLY])
{
    const struct speech *speech = worker->speech;

    snprintf(out, REPLY, "%s%s%s%s", speech->echo ? message : "",
             speech->echo ? speech->command_end : "", reading, speech->prompt);
}

static void put_garbage(struct worker *worker, const char *reply)
{
    static const char letters[] = "~!@\x80\xff\x01\x7f?xyz \"#";
    char bytes[REPLY + 20];
    size_t count = between(&worker->peer_random, 1, 20);

    for (size_t i = 0; i < count; i++)
        bytes[i] = letters[between(&worker->peer_random, 0, sizeof letters - 1)];
    memcpy(bytes + count, reply, strlen(reply));
    put(worker, bytes, count + strlen(reply));
}

static void put_babble(struct worker *worker)
{
    char bytes[1024];
    unsigned chunks = between(&worker->peer_random, 1, 100);

    memset(bytes, '9', sizeof bytes);
    for (size_t i = between(&worker->peer_random, 5, 1023); i < sizeof bytes; i += 40)
        bytes[i] = '\n';
    for (unsigned i = 0; i < chunks; i++)
        put(worker, bytes, sizeof bytes);
}

/* Replies with a fault. `reply` is the right one, `other` that of a query never asked. */
static void misbehave(struct worker *worker, enum fault fault, const char *reply, const char *other)
{
    uint64_t *random = &worker->peer_random;
    size_t half = between(random, 1, (unsigned)strlen(reply) - 1);
    char joined[2 * REPLY];

    worker->faults[fault]++;
    switch (fault) {
    case FAULT_LATE:
        pass(between(random, REPLY_MS + 1, 3 * REPLY_MS));
        put_text(worker, reply);
        break;
    case FAULT_HALF:
        put(worker, reply, half);
        break;
    case FAULT_HALF_LATE:
    case FAULT_SPLIT:
        put(worker, reply, half);
        pass(fault == FAULT_SPLIT ? between(random, 0, 4)
                                  : between(random, REPLY_MS + 1, 2 * REPLY_MS));
        put_text(worker, reply + half);
        break;
    case FAULT_GLUED:
        snprintf(joined, sizeof joined, "%s%s", reply, other);
        put_text(worker, joined);
        break;
    case FAULT_GLUED_BEFORE:
        snprintf(joined, sizeof joined, "%s%s", other, reply);
        put_text(worker, joined);
        break;
    case FAULT_DUPLICATE:
        snprintf(joined, sizeof joined, "%s%s", reply, reply);
        put_text(worker, joined);
        break;
    case FAULT_GARBAGE:
        put_garbage(worker, reply);
        break;
    case FAULT_BABBLE:
        put_babble(worker);
        break;
    case FAULT_DISCONNECT_IN_REPLY:
        put(worker, reply, half);
        hang_up(worker);
        break;
    case FAULT_DISCONNECT:
        hang_up(worker);
        break;
    case FAULT_WRONG_IDENTITY:
        worker->wrong_identities = between(random, 1, 4);
        break;
    default:
        break;
    }
}

static void answer_query(struct worker *worker, const char *message)
{
    uint64_t number = strtoull(message + 1, NULL, 10);
    char reading[64];
    char reply[REPLY];
    char other[REPLY];
    enum fault fault = FAULT_NONE;

    write_reading(worker, number, reading);
    write_reply(worker, message, reading, reply);
    write_reading(worker, number + 500000000, reading);
    write_reply(worker, message, reading, other);
    if (atomic_load(&worker->faulty) && between(&worker->peer_random, 1, 100) <= FAULTY)
        fault = between(&worker->peer_random, FAULT_NONE + 1, FAULT_COUNT - 1);
    if (fault != FAULT_NONE)
        misbehave(worker, fault, reply, other);
    else
        put_text(worker, reply);
}

static void answer_identity(struct worker *worker, const char *message)
{
    char identity[64];
    char reply[REPLY];
    bool faulty = atomic_load(&worker->faulty);
    bool wrong = faulty && worker->wrong_identities > 0;

    if (wrong)
        worker->wrong_identities--;
    snprintf(identity, sizeof identity, "%s,S%u,1,1%s", wrong ? "OTHER" : "SOAK", worker->index,
             worker->speech->reply_end);
    write_reply(worker, message, identity, reply);
    if (faulty && !wrong && between(&worker->peer_random, 1, 100) <= FAULTY_IDENTITY)
        misbehave(worker, between(&worker->peer_random, FAULT_LATE, FAULT_COUNT - 1), reply, reply);
    else
        put_text(worker, reply);
}

/* Takes what came apart into messages; the rest of an unfinished one stays. */
static size_t answer_all(struct worker *worker, char *bytes, size_t count)
{
    char end = worker->speech->command_end[0];
    char *found;

    while ((found = memchr(bytes, end, count)) != NULL) {
        size_t length = (size_t)(found - bytes);

        *found = '\0';
        if (bytes[0] == 'Q')
            answer_query(worker, bytes);
        else
            answer_identity(worker, bytes);
        memmove(bytes, found + 1, count - length - 1);
        count -= length + 1;
    }
    return count;
}

static void *instrument_run(void *context)
{
    struct worker *worker = context;
    char bytes[MESSAGE];
    size_t count = 0;

    worker->fd = -1;
    while (!atomic_load(&worker->stop)) {
        struct pollfd poller = { .fd = worker->fd < 0 ? worker->listener : worker->fd,
                                 .events = POLLIN };
        ssize_t n;

        if (poll(&poller, 1, 50) <= 0)
            continue;
        if (worker->fd < 0) {
            worker->fd = accept(worker->listener, NULL, NULL);
            count = 0;
            continue;
        }
        n = recv(worker->fd, bytes + count, sizeof bytes - 1 - count, 0);
        if (n > 0)
            count = answer_all(worker, bytes, count + (size_t)n);
        else
            hang_up(worker);
    }
    hang_up(worker);
    return NULL;
}

static bool read_488(const struct reply *reply, void *out, struct failure *failure)
{
    enum number_special special;

    return response_number(reply->bytes, reply->count, out, &special, failure);
}

static bool read_line(const struct reply *reply, void *out, struct failure *failure)
{
    if (reply->count == 22 && strncmp(reply->bytes, "STEADY VOLTS ", 13) == 0 &&
        decimal_parse(reply->bytes + 13, 9, out)) {
        *(double *)out += 0.5;
        return true;
    }
    return failure_set(failure, FAILURE_UNEXPECTED_REPLY, NULL, "a reading", "%s", reply->bytes);
}

/* Time this thread was ready to run but did not get a processor, in all (ms); 0: not known. */
static double held_up_ms(const struct worker *worker)
{
    char text[80] = "";
    uint64_t held = 0;

    if (worker->schedule >= 0 && pread(worker->schedule, text, sizeof text - 1, 0) > 0)
        sscanf(text, "%*u %" SCNu64, &held);
    return (double)held / 1e6;
}

/* When a call must end, and how long the thread had been held up when it began. */
struct allowance {
    struct deadline deadline;
    double held_ms;
};

static struct allowance allow(const struct worker *worker, unsigned wait_ms)
{
    return (struct allowance) { .held_ms = held_up_ms(worker), .deadline = deadline_in(wait_ms) };
}

/* Did a call end in time? */
static void check_time(struct worker *worker, struct allowance allowance)
{
    double over = -deadline_left_ms(allowance.deadline);
    double own = over - (held_up_ms(worker) - allowance.held_ms);

    worker->counts.worst_held_ms = fmax(worker->counts.worst_held_ms, over);
    worker->counts.worst_ms = fmax(worker->counts.worst_ms, own);
    if (own > SLACK_MS)
        worker->counts.outlasted++;
}

static bool come_in_step(struct worker *worker, struct dialogue *dialogue, unsigned wait_ms)
{
    struct allowance allowance = allow(worker, wait_ms);
    struct failure failure;
    bool done;

    failure_clear(&failure);
    done = dialogue_ready(dialogue, allowance.deadline, &failure);
    check_time(worker, allowance);
    if (!done)
        worker->counts.failures[failure.code]++;
    return done;
}

static bool ask(struct worker *worker, struct dialogue *dialogue, unsigned wait_ms)
{
    uint64_t number = worker->asked++ % 500000000;
    struct allowance allowance = allow(worker, wait_ms);
    struct failure failure;
    double value = -1;
    char text[32];
    bool done;

    failure_clear(&failure);
    snprintf(text, sizeof text, "Q%" PRIu64 "?", number);
    done = dialogue_query(dialogue, text, 0,
                          worker->speech->framing == FRAMING_488 ? read_488 : read_line, &value,
                          allowance.deadline, &failure);
    check_time(worker, allowance);
    worker->counts.queries++;
    if (!done) {
        worker->counts.failures[failure.code]++;
        return false;
    }
    worker->counts.answers++;
    if (value != (double)number + 0.5) {
        worker->counts.wrong++;
        fprintf(stderr, "worker %u: query %" PRIu64 " was given %.1f\n", worker->index, number,
                value);
    }
    return true;
}

/* With the faults gone a few calls must be enough, whatever state it was left in. */
static bool recover(struct worker *worker, struct dialogue *dialogue)
{
    for (int i = 0; i < RECOVERY_TRIES; i++)
        if (come_in_step(worker, dialogue, 1000) && ask(worker, dialogue, 500))
            return true;
    return false;
}

static void play_dialogue(struct worker *worker)
{
    struct dialogue *dialogue = dialogue_new(&worker->protocol, &worker->spec, "soak");

    if (!dialogue)
        abort();
    atomic_store(&worker->faulty, true);
    for (int i = 0; i < QUERIES; i++)
        if (come_in_step(worker, dialogue, between(&worker->random, 30, 200)))
            ask(worker, dialogue, between(&worker->random, 10, 60));
    atomic_store(&worker->faulty, false);
    if (!recover(worker, dialogue)) {
        worker->counts.lost++;
        fprintf(stderr, "worker %u: a dialogue did not recover\n", worker->index);
    }
    worker->counts.dialogues++;
    worker->counts.resynchronised += dialogue_counters(dialogue)->resynchronised;
    worker->counts.opened += dialogue_counters(dialogue)->opened;
    dialogue_free(dialogue);
}

static void *worker_run(void *context)
{
    struct worker *worker = context;
    pthread_t instrument;

    worker->schedule = open("/proc/thread-self/schedstat", O_RDONLY | O_CLOEXEC);
    if (pthread_create(&instrument, NULL, instrument_run, worker) != 0)
        abort();
    while (atomic_fetch_sub(&to_play, 1) > 0)
        play_dialogue(worker);
    atomic_store(&worker->stop, true);
    pthread_join(instrument, NULL);
    if (worker->schedule >= 0)
        close(worker->schedule);
    return NULL;
}

static void fill_protocol(struct worker *worker)
{
    const struct speech *speech = worker->speech;
    struct protocol *protocol = &worker->protocol;

    protocol->framing = speech->framing;
    protocol->echo = speech->echo;
    protocol->reply_ms = REPLY_MS;
    protocol->quiet_ms = QUIET_MS;
    protocol->reply_limit = REPLY_LIMIT;
    snprintf(protocol->command_terminator, PROTOCOL_TEXT, "%s", speech->command_end);
    snprintf(protocol->reply_terminator, PROTOCOL_TEXT, "%s", speech->reply_end);
    snprintf(protocol->prompt, PROTOCOL_TEXT, "%s", speech->prompt);
    snprintf(protocol->identity_query, PROTOCOL_TEXT, "*IDN?");
    if (regcomp(&protocol->identity, "^SOAK,S[0-9]+,1,1$", REG_EXTENDED) != 0)
        abort();
}

static void worker_begin(struct worker *worker, unsigned index, uint64_t seed, const char *folder)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    char text[80];

    worker->index = index;
    worker->speech = &speeches[index % (sizeof speeches / sizeof *speeches)];
    worker->random = seed * 1000003 + 2 * index + 1;
    worker->peer_random = seed * 7368787 + 2 * index + 2;
    fill_protocol(worker);
    snprintf(worker->path, sizeof worker->path, "%s/%u", folder, index);
    snprintf(text, sizeof text, "unix:%s", worker->path);
    snprintf(address.sun_path, sizeof address.sun_path, "%s", worker->path);
    worker->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (!link_spec_parse(text, NULL, &worker->spec, NULL) ||
        bind(worker->listener, (struct sockaddr *)&address, sizeof address) != 0 ||
        listen(worker->listener, 16) != 0)
        abort();
}

static void worker_end(struct worker *worker)
{
    close(worker->listener);
    unlink(worker->path);
    regfree(&worker->protocol.identity);
}

static void add_counts(struct counts *sum, const struct counts *counts)
{
    sum->dialogues += counts->dialogues;
    sum->queries += counts->queries;
    sum->answers += counts->answers;
    sum->resynchronised += counts->resynchronised;
    sum->opened += counts->opened;
    sum->wrong += counts->wrong;
    sum->outlasted += counts->outlasted;
    sum->lost += counts->lost;
    sum->worst_ms = fmax(sum->worst_ms, counts->worst_ms);
    sum->worst_held_ms = fmax(sum->worst_held_ms, counts->worst_held_ms);
    for (int i = 0; i < FAILURE_CODE_COUNT; i++)
        sum->failures[i] += counts->failures[i];
}

static void report(const struct counts *sum, const uint64_t *faults, uint64_t seed)
{
    printf("seed %" PRIu64 ": %" PRIu64 " dialogues, %" PRIu64 " queries, %" PRIu64
           " answers, %" PRIu64 " re-synchronised, %" PRIu64 " links opened\n",
           seed, sum->dialogues, sum->queries, sum->answers, sum->resynchronised, sum->opened);
    for (int i = 1; i < FAULT_COUNT; i++)
        printf("fault %-22s %9" PRIu64 "\n", fault_names[i], faults[i]);
    for (int i = 1; i < FAILURE_CODE_COUNT; i++) {
        if (sum->failures[i] > 0)
            printf("failed: %-34s %9" PRIu64 "\n", failure_reason((enum failure_code)i),
                   sum->failures[i]);
    }
    printf("given to the wrong query %" PRIu64 ", did not recover %" PRIu64
           ", outlasted their deadline by more than %d ms %" PRIu64
           " (at most %.1f ms, %.1f ms with the time they were held up)\n",
           sum->wrong, sum->lost, SLACK_MS, sum->outlasted, sum->worst_ms, sum->worst_held_ms);
}

static bool soak(uint64_t seed, unsigned threads, const char *folder)
{
    struct worker *workers = calloc(threads, sizeof *workers);
    pthread_t *running = calloc(threads, sizeof *running);
    struct counts sum = { 0 };
    uint64_t faults[FAULT_COUNT] = { 0 };

    if (!workers || !running)
        abort();
    for (unsigned i = 0; i < threads; i++) {
        worker_begin(&workers[i], i, seed, folder);
        if (pthread_create(&running[i], NULL, worker_run, &workers[i]) != 0)
            abort();
    }
    for (unsigned i = 0; i < threads; i++) {
        pthread_join(running[i], NULL);
        add_counts(&sum, &workers[i].counts);
        for (int j = 0; j < FAULT_COUNT; j++)
            faults[j] += workers[i].faults[j];
        worker_end(&workers[i]);
    }
    report(&sum, faults, seed);
    free(workers);
    free(running);
    return sum.wrong == 0 && sum.outlasted == 0 && sum.lost == 0 && sum.answers > 0;
}

static uint64_t argument(int argc, char **argv, int index, uint64_t otherwise)
{
    return argc > index ? strtoull(argv[index], NULL, 10) : otherwise;
}

int main(int argc, char **argv)
{
    char folder[] = "/tmp/gradus-soak-XXXXXX";
    uint64_t dialogues = argument(argc, argv, 1, 100000);
    uint64_t seed = argument(argc, argv, 2, 1);
    uint64_t threads = argument(argc, argv, 3, 128);
    bool good;

    if (argc > 4 || dialogues == 0 || threads == 0 || threads > MOST_THREADS) {
        fprintf(stderr, "usage: soak_dialogue [DIALOGUES [SEED [THREADS]]]\n");
        return 2;
    }
    if (!mkdtemp(folder)) {
        perror(folder);
        return 2;
    }
    atomic_store(&to_play, (long)dialogues);
    good = soak(seed, (unsigned)threads, folder);
    rmdir(folder);
    return good ? 0 : 1;
}
