/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "follow.h"

#include "follow_live.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/batch.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/basics/terminal_text.h"
#include "tools/gradus/screen/frame.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { LABEL_SIZE = 40, LONGEST_POINT = 64, RESULT_WIDTH = 26 };

/* A stream of readings on its way to standard output. */
struct stream {
    const struct session *session;
    struct live *live; /* NULL: readings go out line by line */
    size_t point_width;
    int id;        /* of the request */
    bool answered; /* the daemon has taken it */
    bool ended;
    int status; /* the worst so far */
};

/* A label for what has no time of its own: wall time, for the eye only. */
static char *time_label(char label[LABEL_SIZE])
{
    struct timespec now;
    struct tm parts;
    clock_gettime(CLOCK_REALTIME, &now);
    gmtime_r(&now.tv_sec, &parts);
    const size_t length = strftime(label, LABEL_SIZE, "%Y-%m-%dT%H:%M:%S", &parts);
    snprintf(label + length, LABEL_SIZE - length, ".%03ldZ", now.tv_nsec / 1000000);
    return label;
}

static void print_padded(const struct session *session, const char *text, size_t width)
{
    char *const printable = text_printable(text, session->terminal->ascii);
    const size_t taken = text_width(printable);
    printf("%s%*s  ", printable, taken < width ? (int)(width - taken) : 0, "");
    free(printable);
}

static void print_line(const struct stream *stream, const char *time, const char *point,
                       const char *result, const char *word, enum style style)
{
    const struct terminal *const terminal = stream->session->terminal;
    print_padded(stream->session, time, 0);
    print_padded(stream->session, point, stream->point_width);
    print_padded(stream->session, result, RESULT_WIDTH);
    terminal_style(terminal, stdout, style);
    terminal_put(terminal, stdout, word);
    terminal_style(terminal, stdout, STYLE_PLAIN);
    fputc('\n', stdout);
}

static const char *params_span(const struct message *message, size_t *length)
{
    return message_span(message->text, strlen(message->text), "params", length);
}

static void print_reading_json(const struct message *message)
{
    size_t length = 0;
    const char *const params = params_span(message, &length);
    const char *const text =
        params == NULL ? NULL : message_span(params, length, "reading", &length);
    if (text != NULL) {
        fwrite(text, 1, length, stdout);
        fputc('\n', stdout);
    }
}

static void show_reading(struct stream *stream, const struct message *message,
                         const json_t *reading)
{
    const struct options *const options = stream->session->options;
    const char *const point = field_text(reading, "point");
    const char *const verdict = field_text(reading, "verdict");
    if (options->json) {
        print_reading_json(message);
    } else if (options->csv) {
        reading_csv(reading);
    } else if (stream->live != NULL) {
        live_reading(stream->live, reading);
    } else {
        char result[NOTATION_SIZE];
        notation_result(result, sizeof result, field_number(reading, "value"),
                        field_number(reading, "uncertainty"), options->digits,
                        field_text(reading, "unit"));
        print_line(stream, field_text_or_empty(reading, "time"), point, result, verdict,
                   terminal_verdict_style(verdict));
        reading_warnings(stream->session, point, reading);
    }
    stream->status = status_worse(stream->status, reading_status(reading));
}

static void show_failure(struct stream *stream, const struct message *message, const char *point,
                         const struct fault *fault)
{
    const struct options *const options = stream->session->options;
    char label[LABEL_SIZE];
    if (options->json) {
        size_t length = 0;
        const char *const params = params_span(message, &length);
        ask_print_error(params, length, point, fault);
    } else if (options->csv) {
        reading_failure_csv(point, fault);
    } else if (stream->live == NULL) {
        print_line(stream, time_label(label), point, "-", fault->reason, STYLE_BAD);
    }
    if (stream->live != NULL)
        live_failure(stream->live, point, fault);
    else
        fault_explain(fault, point, stream->session->terminal);
    stream->status = status_worse(stream->status, fault->status);
}

static void tell_missed(const struct stream *stream, double missed)
{
    static const char text[] = "%.0f readings were skipped: this client reads too slowly";
    if (stream->live != NULL)
        live_note(stream->live, text, missed);
    else
        terminal_complain(stream->session->terminal, text, missed);
}

static void receive_notification(struct stream *stream, const struct message *message)
{
    struct fault fault = { 0 };
    const json_t *const params = json_object_get(message->json, "params");
    const json_t *const reading = json_object_get(params, "reading");
    const json_t *const error = json_object_get(params, "error");
    const double missed = field_number(params, "missed");
    if (missed > 0)
        tell_missed(stream, missed);
    if (error != NULL) {
        const char *const point = field_text(params, "point");
        fault_from_error(&fault, error);
        show_failure(stream, message, point != NULL ? point : "-", &fault);
    } else if (reading_check(reading, &fault)) {
        show_reading(stream, message, reading);
    } else {
        show_failure(stream, message, "-", &fault);
    }
}

/* The last picture stays on the terminal, and what is said from here on comes below it. */
static void close_live(struct stream *stream)
{
    live_close(stream->live);
    stream->live = NULL;
}

/* Ends the stream with a failure that is no reading's. */
static void end_with(struct stream *stream, const struct fault *fault)
{
    close_live(stream);
    fault_explain(fault, NULL, stream->session->terminal);
    stream->status = status_worse(stream->status, fault->status);
    stream->ended = true;
}

/* What the daemon has to say about the subscription as a whole. */
static void complain_of(const struct stream *stream, const json_t *warnings)
{
    for (size_t i = 0; i < json_array_size(warnings); i++) {
        const char *const warning = json_string_value(json_array_get(warnings, i));
        if (stream->live != NULL)
            live_note(stream->live, "%s", warning == NULL ? "" : warning);
        else
            terminal_complain(stream->session->terminal, "%s", warning == NULL ? "" : warning);
    }
}

static void receive_message(struct stream *stream, const struct message *message)
{
    const char *const method = field_text_or_empty(message->json, "method");
    const json_t *const error = json_object_get(message->json, "error");
    if (error != NULL) {
        struct fault fault;
        fault_from_error(&fault, error);
        end_with(stream, &fault);
    } else if (client_answer_id(message) == stream->id) {
        stream->answered = true;
        complain_of(stream, field_at(message->json, "result.warnings"));
    } else if (strcmp(method, "reading") == 0) {
        receive_notification(stream, message);
    } else if (strcmp(method, "finished") == 0) {
        stream->ended = true;
    }
}

/* Waits for what comes next; false when it is time to draw instead. */
static bool follow_step(struct stream *stream, struct client *client, double limit, double until)
{
    struct fault fault = { 0 };
    struct message message = { 0 };
    const double due = stream->live != NULL ? live_due(stream->live) : (double)INFINITY;
    const enum client_event event = client_receive(client, fmin(until, due), &message, &fault);
    if (event == CLIENT_LATE && due <= until)
        return false;
    if (event == CLIENT_MESSAGE) {
        receive_message(stream, &message);
    } else if (event == CLIENT_INTERRUPTED) {
        stream->ended = true;
    } else {
        client_event_fault(event, limit, &fault);
        end_with(stream, &fault);
    }
    message_clear(&message);
    return stream->live == NULL || client_now() < due;
}

/* Readings may take as long as they like; only the answer to the request is waited for in time. */
static void follow(struct stream *stream, struct client *client)
{
    const double limit = ASK_PLAIN_MS + ASK_GRACE_MS;
    const double until = client_now() + limit;
    while (!stream->ended) {
        if (!follow_step(stream, client, limit, stream->answered ? (double)INFINITY : until) &&
            stream->live != NULL)
            live_draw(stream->live);
        /* Whoever reads may be waiting for this line; one that went away ends the stream. */
        stream->ended |= fflush(stdout) != 0;
    }
}

/* `place`: keys of a point that is not in the settings, or NULL: those of the batch. */
static json_t *follow_params(const struct session *session, const struct batch *batch,
                             json_t *place)
{
    const struct options *const options = session->options;
    json_t *const params = json_pack("{s:o, s:o}", "every_ms", ask_number(options->every_ms),
                                     "deadline_ms", ask_number(options->deadline_ms));
    if (place != NULL) {
        json_object_set(params, "read", place);
    } else {
        json_t *const points = json_array();
        for (size_t i = 0; i < batch->count; i++)
            json_array_append_new(points, json_string(batch->requests[i].point));
        json_object_set_new(params, "points", points);
    }
    if (options->count > 0)
        json_object_set_new(params, "readings", json_integer(options->count));
    return params;
}

static size_t widest_point(const struct batch *batch)
{
    size_t widest = 0;
    for (size_t i = 0; i < batch->count; i++) {
        const size_t width = text_width(batch->requests[i].point);
        widest = width > widest ? width : widest;
    }
    return widest < LONGEST_POINT ? widest : LONGEST_POINT;
}

static struct live *open_live(const struct session *session, const struct batch *batch)
{
    struct live *const live = live_open(session);
    for (size_t i = 0; i < batch->count; i++)
        live_add(live, batch->requests[i].point, batch->requests[i].caution);
    return live;
}

static int follow_points(const struct session *session, struct client *client,
                         const struct batch *batch, json_t *place)
{
    struct fault fault = { 0 };
    struct stream stream = { .session = session, .point_width = widest_point(batch) };
    if (frame_possible() && !session->options->json && !session->options->csv)
        stream.live = open_live(session, batch);
    stream.id = client_send(client, "follow", follow_params(session, batch, place), &fault);
    if (session->options->csv) {
        csv_header(stdout, reading_csv_columns);
        fflush(stdout);
    }
    if (stream.id == 0)
        end_with(&stream, &fault);
    follow(&stream, client);
    close_live(&stream);
    return stream.status;
}

static int follow_batch(const struct session *session, struct client *client, struct batch *batch)
{
    return follow_points(session, client, batch, NULL);
}

static int run_follow(const struct session *session)
{
    return batch_with(session, follow_batch);
}

int follow_place(const struct session *session, json_t *keys, const char *name)
{
    struct fault fault = { 0 };
    struct request request = { .point = name };
    const struct batch batch = { .requests = &request, .count = 1 };
    struct client *const client = client_open(session->options, &fault);
    int status;
    if (client != NULL) {
        status = follow_points(session, client, &batch, keys);
    } else {
        fault_explain(&fault, NULL, session->terminal);
        status = fault.status;
    }
    json_decref(keys);
    client_close(client);
    return status;
}

const struct command command_follow = {
    .name = "follow",
    .arguments = "POINT... | --all",
    .summary = "measure points again and again, a line each",
    .usage = "Prints a line for each reading as it comes: time (UTC), point, value with expanded\n"
             "uncertainty, verdict, or the reason why there is none. On a terminal each point has\n"
             "one line, drawn in place, that ends in its course: the last readings, a bar each, x\n"
             "where there was none. Its height is their span, or the uncertainty where that is\n"
             "larger, so that noise does not look like a trend. Ends at SIGINT or after --count\n"
             "readings of each point; the exit status is the worst of all readings.\n",
    .options = OPTION_EVERY | OPTION_COUNT | OPTION_ALL | OPTION_DEADLINE | OPTION_SETTINGS,
    .least = 1,
    .most = -1,
    .run = run_follow,
};
