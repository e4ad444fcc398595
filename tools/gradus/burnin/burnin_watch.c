/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * gradus burnin status --watch: drawn anew until SIGINT. A daemon that goes
 * is waited for; meanwhile the last status stays, and says that it is old.
 */
#include "burnin_priv.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/frame.h"
#include "tools/gradus/wire/client.h"

#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Looks come no closer than this, and a daemon that is away is looked for so often. */
static const double least_pause_ms = 100;
static const double retry_ms = 1000;

enum { CLOCK = 32, NEWS = 256 };

struct watch {
    const struct session *session;
    struct terminal terminal; /* as it was when it was looked at last */
    const char *run;          /* NULL: all */
    struct client *client;    /* NULL: not connected */
    bool live;                /* drawn in place */
    json_t *result;           /* the last answer; NULL: none yet */
    char at[CLOCK];           /* when it came */
    char *screen;             /* as it was drawn last */
    struct fault fault;       /* why there is no newer answer; its reason is "" when there is */
    bool told;                /* standard error has been told of it */
    bool ended;
    int status;
};

static void note_time(char text[CLOCK])
{
    const time_t now = time(NULL);
    struct tm parts;
    gmtime_r(&now, &parts);
    strftime(text, CLOCK, "%Y-%m-%d %H:%M:%S UTC", &parts);
}

/* Waits for SIGINT or SIGTERM, which are blocked, while there is no connection. */
static void wait_unconnected(struct watch *watch, double pause_ms)
{
    const struct timespec pause = { (time_t)(pause_ms / 1e3), lround(fmod(pause_ms, 1e3) * 1e6) };
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    watch->ended = sigtimedwait(&set, NULL, &pause) > 0;
}

static void disconnect(struct watch *watch)
{
    client_close(watch->client);
    watch->client = NULL;
}

/* Waits for the next line until then; true with the answer to that request. */
static bool receive(struct watch *watch, int id, double until, struct message *answer)
{
    for (;;) {
        *answer = (struct message) { 0 };
        const enum client_event event = client_receive(watch->client, until, answer, &watch->fault);
        if (event == CLIENT_MESSAGE && id != 0 && client_answer_id(answer) == id)
            return true;
        message_clear(answer);
        if (event == CLIENT_MESSAGE)
            continue;
        watch->ended = event == CLIENT_INTERRUPTED;
        if (id != 0)
            client_event_fault(event, ASK_PLAIN_MS, &watch->fault);
        if (event == CLIENT_GONE || (event == CLIENT_LATE && id != 0))
            disconnect(watch);
        return false;
    }
}

static void take(struct watch *watch, const struct message *answer)
{
    json_t *const result = json_object_get(answer->json, "result");
    if (result == NULL) {
        fault_from_error(&watch->fault, json_object_get(answer->json, "error"));
        return;
    }
    if (watch->session->options->json)
        ask_print_member(answer, "result");
    json_decref(watch->result);
    watch->result = json_incref(result);
    note_time(watch->at);
    watch->fault.reason[0] = '\0';
}

static void look(struct watch *watch)
{
    struct message answer;
    if (watch->client == NULL)
        watch->client = client_open(watch->session->options, &watch->fault);
    if (watch->client == NULL)
        return;
    const int id = client_send(
        watch->client, "burnin.status",
        watch->run != NULL ? json_pack("{s:s}", "run", watch->run) : json_object(), &watch->fault);
    if (id == 0) {
        disconnect(watch);
    } else if (receive(watch, id, client_now() + ASK_PLAIN_MS, &answer)) {
        take(watch, &answer);
        message_clear(&answer);
    }
}

/* When it is, or since when the daemon has said nothing and why. */
static void draw_news(const struct watch *watch, FILE *stream)
{
    const struct terminal *const terminal = &watch->terminal;
    if (watch->fault.reason[0] == '\0') {
        fprintf(stream, "%s, Ctrl-C ends\n", watch->at);
        return;
    }
    char detail[sizeof watch->fault.what + sizeof watch->fault.expected +
                sizeof watch->fault.where + 16];
    terminal_style(terminal, stream, STYLE_BAD);
    terminal_print(terminal, stream, "as of %s, NO CONTACT NOW: %s: %s", watch->at,
                   watch->fault.reason, fault_detail(&watch->fault, detail, sizeof detail));
    terminal_style(terminal, stream, STYLE_PLAIN);
    fputc('\n', stream);
}

/* Draws what is known, with the line that says when it is. */
static void draw(struct watch *watch, bool news)
{
    size_t size = 0;
    free(watch->screen);
    watch->screen = NULL;
    watch->terminal = terminal_look();
    watch->terminal.progress = watch->session->terminal->progress;
    FILE *const stream = open_memstream(&watch->screen, &size);
    if (stream == NULL)
        return;
    if (news)
        draw_news(watch, stream);
    const size_t lines = watch->live ? (size_t)watch->terminal.rows - 1 : 0;
    watch->status = burnin_draw_status(&watch->terminal, stream, watch->result, lines);
    fclose(stream);
}

/* Into a pipe goes what is new only; that nothing is, standard error is told once. */
static void show_in_turn(struct watch *watch)
{
    const bool known = watch->fault.reason[0] == '\0';
    if (!known && !watch->told)
        fault_explain(&watch->fault, watch->run, watch->session->terminal);
    watch->told = !known;
    if (known && !watch->session->options->json) {
        draw(watch, true);
        printf("%s\n", watch->screen != NULL ? watch->screen : "");
    }
}

static void show(struct watch *watch)
{
    if (!watch->live) {
        show_in_turn(watch);
        return;
    }
    draw(watch, true);
    frame_draw(&watch->terminal, watch->screen != NULL ? watch->screen : "");
}

static void pause_between(struct watch *watch)
{
    const double every = fmax(watch->session->options->every_ms, least_pause_ms);
    struct message none;
    if (watch->client == NULL)
        wait_unconnected(watch, fmin(retry_ms, every));
    else
        receive(watch, 0, client_now() + every, &none);
}

static void block_signals(void)
{
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigprocmask(SIG_BLOCK, &set, NULL);
}

/* Until SIGINT, unless there is nothing to watch from the beginning. */
static void go_on(struct watch *watch)
{
    look(watch);
    while (!watch->ended && watch->result != NULL) {
        show(watch);
        watch->ended = fflush(stdout) != 0;
        if (!watch->ended)
            pause_between(watch);
        if (!watch->ended)
            look(watch);
    }
}

int burnin_watch(const struct session *session, const char *run)
{
    struct watch watch = { .session = session,
                           .run = run,
                           .live = frame_possible() && !session->options->json,
                           .status = STATUS_PASS };
    block_signals();
    if (watch.live)
        frame_open();
    go_on(&watch);
    if (watch.result == NULL) {
        fault_explain(&watch.fault, run, session->terminal);
        watch.status = watch.fault.status;
    } else if (watch.live) {
        draw(&watch, false);
        frame_close(&watch.terminal, watch.screen != NULL ? watch.screen : "");
    }
    disconnect(&watch);
    json_decref(watch.result);
    free(watch.screen);
    return watch.status;
}
