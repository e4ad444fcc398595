/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gradus walk: follows the daemon's walk of a sheet, shows it, lets it be heard, and passes keys on. */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"
#include "tools/gradus/screen/frame.h"
#include "walker.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Something for the person: on the screen, in lines, and aloud. */
static void say(struct walker *walker, bool bad, const char *text)
{
    snprintf(walker->news, sizeof walker->news, "%s", text);
    walker->bad_news = bad;
    if (!walker->live && !walker->session->options->json && !walker->session->options->csv)
        terminal_print(&walker->terminal, stdout, "%s\n", text);
}

static void say_next(struct walker *walker, const char *before)
{
    char place[WALKER_LINE], text[2 * WALKER_LINE];
    walker_short_place(walker, walker->at, place, sizeof place);
    snprintf(text, sizeof text, "%s Next: %s", before, place);
    sound_say(&walker->sound, text);
    if (!walker->live && !walker->session->options->json && !walker->session->options->csv)
        walker_print_next(walker, stdout);
}

static size_t index_of(const struct walker *walker, const json_t *told, const char *key)
{
    const json_int_t index = json_integer_value(json_object_get(told, key));
    return index >= 0 && (size_t)index < walker->count ? (size_t)index : walker->count;
}

/* Writes value and verdict of a reading, or why there is none. */
static void write_outcome(const struct walker *walker, struct stop *stop, const json_t *told)
{
    json_t *const reading = json_object_get(told, "reading");
    const json_t *const error = json_object_get(told, "error");
    struct fault fault = { 0 };
    json_decref(stop->reading);
    stop->reading = NULL;
    stop->value[0] = '\0';
    if (reading != NULL && reading_check(reading, &fault)) {
        stop->reading = json_incref(reading);
        notation_result(stop->value, sizeof stop->value, field_number(reading, "value"),
                        field_number(reading, "uncertainty"), walker->session->options->digits,
                        field_text_or_empty(reading, "unit"));
        snprintf(stop->verdict, sizeof stop->verdict, "%s",
                 field_text_or_empty(reading, "verdict"));
        stop->status = reading_status(reading);
        char *const spread = strstr(stop->value, " ±");
        if (spread != NULL) /* the uncertainty stands in the reading's own line */
            *spread = '\0';
        return;
    }
    if (reading == NULL && error == NULL) {
        snprintf(stop->verdict, sizeof stop->verdict, "skipped");
        stop->status = STATUS_PASS;
        return;
    }
    if (error != NULL)
        fault_from_error(&fault, error);
    snprintf(stop->verdict, sizeof stop->verdict, "%.31s", fault.reason);
    stop->status = fault.status;
}

static void play(struct walker *walker, const struct stop *stop)
{
    if (strcmp(stop->state, "skipped") == 0)
        return;
    sound_play(&walker->sound, stop->status == STATUS_PASS   ? TONE_PASS
                               : stop->status == STATUS_FAIL ? TONE_FAIL
                                                             : TONE_UNSURE);
}

static void on_outcome(struct walker *walker, const json_t *told)
{
    static const char *const states[] = { "read", "no reading", "skipped" };
    const size_t index = index_of(walker, told, "place");
    const struct options *const options = walker->session->options;
    char text[WALKER_LINE], full[NOTATION_SIZE] = "";
    if (index == walker->count)
        return;
    struct stop *const stop = &walker->stops[index];
    for (size_t i = 0; i < sizeof states / sizeof states[0]; i++)
        if (strcmp(states[i], field_text_or_empty(told, "state")) == 0)
            stop->state = states[i];
    write_outcome(walker, stop, told);
    walker->last = index;
    if (stop->reading != NULL)
        notation_result(full, sizeof full, field_number(stop->reading, "value"),
                        field_number(stop->reading, "uncertainty"), options->digits,
                        field_text_or_empty(stop->reading, "unit"));
    snprintf(text, sizeof text, "%s: %s%s%s", field_text_or_empty(stop->place, "point"), full,
             full[0] != '\0' ? ", " : "", stop->verdict);
    say(walker, stop->status == STATUS_FAIL, text);
    play(walker, stop);
    if (options->json && stop->reading != NULL)
        json_dumpf(stop->reading, stdout, JSON_COMPACT);
    if (options->json && stop->reading != NULL)
        fputc('\n', stdout);
    if (options->csv && stop->reading != NULL)
        reading_csv(stop->reading);
}

static void on_place(struct walker *walker, const json_t *told)
{
    char before[2 * WALKER_LINE] = "";
    walker->at = index_of(walker, told, "place");
    if (walker->at == walker->count)
        return;
    struct stop *const stop = &walker->stops[walker->at];
    stop->state = "open";
    if (walker->last < walker->count && walker->last != walker->at)
        snprintf(before, sizeof before, "%s %s.", walker->stops[walker->last].value,
                 walker->stops[walker->last].verdict);
    say_next(walker, before);
}

static void on_elsewhere(struct walker *walker, const json_t *told)
{
    const size_t like = index_of(walker, told, "like");
    struct stop seen = { .place = NULL };
    char text[WALKER_LINE], here[64], there[64];
    if (like == walker->count || walker->at == walker->count)
        return;
    write_outcome(walker, &seen, told);
    walker_short_place(walker, walker->at, here, sizeof here);
    walker_short_place(walker, like, there, sizeof there);
    snprintf(text, sizeof text, "%s is what %s should show. Not kept: touch %s again", seen.value,
             there, here);
    json_decref(seen.reading);
    say(walker, true, text);
    sound_play(&walker->sound, TONE_UNSURE);
    sound_say(&walker->sound, text);
}

/* What needs a word when it happens; the rest shows on the screen only. */
static void on_probe(struct walker *walker, const char *probe)
{
    static const char *const told[] = { "lift", "slipped", "unsure", "away" };
    snprintf(walker->probe, sizeof walker->probe, "%s", probe);
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++) {
        if (strcmp(told[i], probe) != 0)
            continue;
        if (!walker->live)
            say(walker, false, walker_advice(walker));
        if (i > 0)
            sound_play(&walker->sound, TONE_UNSURE);
        sound_say(&walker->sound, walker_advice(walker));
    }
}

static void on_away(struct walker *walker, const json_t *told)
{
    struct fault fault;
    char detail[sizeof fault.what + sizeof fault.expected + sizeof fault.where + 16];
    char text[WALKER_LINE];
    fault_from_error(&fault, json_object_get(told, "error"));
    on_probe(walker, "away");
    snprintf(text, sizeof text, "%s: %.200s", fault.reason,
             fault_detail(&fault, detail, sizeof detail));
    say(walker, true, text);
}

static void on_told(struct walker *walker, const json_t *told)
{
    const char *const what = field_text_or_empty(told, "what");
    if (json_integer_value(json_object_get(told, "subscription")) != walker->number)
        return;
    if (strcmp(what, "probe") == 0)
        on_probe(walker, field_text_or_empty(told, "probe"));
    else if (strcmp(what, "outcome") == 0)
        on_outcome(walker, told);
    else if (strcmp(what, "place") == 0)
        on_place(walker, told);
    else if (strcmp(what, "elsewhere") == 0)
        on_elsewhere(walker, told);
    else if (strcmp(what, "away") == 0)
        on_away(walker, told);
    if (strcmp(what, "finished") != 0)
        return;
    walker->ended = true;
    walker->finished = strcmp(field_text_or_empty(told, "why"), "all places are done") == 0;
    if (!walker->finished)
        say(walker, true, field_text_or_empty(told, "why"));
}

static bool send_key(struct walker *walker, enum pressed pressed, struct fault *fault)
{
    static const char *const keys[] = { [PRESSED_ON] = "on",
                                        [PRESSED_BACK] = "back",
                                        [PRESSED_AGAIN] = "again",
                                        [PRESSED_SKIP] = "skip" };
    return client_send(
               walker->client, "walk.key",
               json_pack("{s:I, s:s}", "subscription", walker->number, "key", keys[pressed]),
               fault) != 0;
}

static bool on_key(struct walker *walker, enum pressed pressed, struct fault *fault)
{
    switch (pressed) {
    case PRESSED_ON:
    case PRESSED_BACK:
    case PRESSED_AGAIN:
    case PRESSED_SKIP:
        return send_key(walker, pressed, fault);
    case PRESSED_NOTE:
        say(walker, false, "The note is kept.");
        return client_send(walker->client, "walk.note",
                           json_pack("{s:I, s:s}", "subscription", walker->number, "note",
                                     walker->keyboard.note),
                           fault) != 0;
    case PRESSED_LEAVE:
        walker->ended = true;
        break;
    case PRESSED_GOOD:
    case PRESSED_UNKNOWN:
        say(walker, false, "Keys: Enter on it, b back, a again, s skip, n note, q leave");
        break;
    case PRESSED_NOTHING:
    case PRESSED_TYPING:
        break;
    }
    return true;
}

static bool on_keys(struct walker *walker, struct fault *fault)
{
    enum pressed pressed;
    if (!keyboard_read(&walker->keyboard))
        client_also(walker->client, -1);
    while (!walker->ended && (pressed = keyboard_next(&walker->keyboard)) != PRESSED_NOTHING)
        if (!on_key(walker, pressed, fault))
            return false;
    return true;
}

static void show(struct walker *walker)
{
    size_t size = 0;
    if (!walker->live) {
        fflush(stdout);
        return;
    }
    free(walker->screen);
    walker->screen = NULL;
    walker->terminal = terminal_look();
    FILE *const stream = open_memstream(&walker->screen, &size);
    if (stream == NULL)
        return;
    walker_draw(walker, stream);
    fclose(stream);
    frame_draw(&walker->terminal, walker->screen);
}

/* A key that was refused says why. */
static void on_message(struct walker *walker, const struct message *message)
{
    const json_t *const error = json_object_get(message->json, "error");
    struct fault fault;
    char detail[sizeof fault.what + sizeof fault.expected + sizeof fault.where + 16];
    if (error != NULL) {
        fault_from_error(&fault, error);
        say(walker, true, fault_detail(&fault, detail, sizeof detail));
    } else if (json_object_get(message->json, "method") != NULL) {
        on_told(walker, json_object_get(message->json, "params"));
    }
}

/* Until all is done or the person leaves. False with the fault filled in when the daemon goes. */
static bool follow(struct walker *walker, struct fault *fault)
{
    while (!walker->ended) {
        struct message message = { 0 };
        show(walker);
        const enum client_event event = client_receive(walker->client, INFINITY, &message, fault);
        if (event == CLIENT_MESSAGE)
            on_message(walker, &message);
        message_clear(&message);
        if (event == CLIENT_GONE || (event == CLIENT_KEYS && !on_keys(walker, fault)))
            return false;
        walker->ended = walker->ended || event == CLIENT_INTERRUPTED;
    }
    return true;
}

static void recall_stop(struct stop *stop, const json_t *place)
{
    const double value = field_number(place, "value");
    stop->place = place;
    stop->state = field_text_or_empty(place, "state");
    const bool read = strcmp(stop->state, "read") == 0;
    if (read && isfinite(value))
        notation_plain(stop->value, sizeof stop->value, value, field_text_or_empty(place, "unit"));
    snprintf(stop->verdict, sizeof stop->verdict, "%.31s",
             read ? field_text_or_empty(place, "verdict") : stop->state);
    if (strcmp(stop->state, "open") == 0)
        stop->verdict[0] = '\0';
    stop->status = read                                     ? status_of_verdict(stop->verdict)
                   : strcmp(stop->state, "no reading") == 0 ? STATUS_NO_READING
                                                            : STATUS_PASS;
}

static bool begin(struct walker *walker, struct fault *fault)
{
    const struct options *const options = walker->session->options;
    struct message answer = { 0 };
    walker->client = client_open(options, fault);
    if (walker->client == NULL)
        return false;
    json_t *const params =
        json_pack("{s:s, s:b}", "sheet", walker->session->operands[0], "anew", (int)options->anew);
    if (!job_option(walker->session, params)) {
        json_decref(params);
        fault->status = STATUS_USAGE;
        return false;
    }
    const bool begun =
        client_call(walker->client, "walk.start", params, ASK_PLAIN_MS, &answer, fault);
    if (begun)
        walker->answer = json_incref(json_object_get(answer.json, "result"));
    message_clear(&answer);
    const json_t *const places = json_object_get(walker->answer, "places");
    walker->count = json_array_size(places);
    walker->number = json_integer_value(json_object_get(walker->answer, "subscription"));
    if (begun && (walker->count == 0 || walker->number == 0)) {
        ask_senseless(fault, "a subscription and places");
        return false;
    }
    walker->stops = memory_zeroed(walker->count + 1, sizeof *walker->stops);
    for (size_t i = 0; i < walker->count; i++)
        recall_stop(&walker->stops[i], json_array_get(places, i));
    walker->last = walker->count;
    walker->at = begun ? index_of(walker, walker->answer, "place") : walker->count;
    return begun;
}

/* What is missing is said once, before the hands are full. */
void walker_sound(struct sound *sound, const struct session *session)
{
    const struct options *const options = session->options;
    const bool tones = !options->quiet && !options->json && !options->csv &&
                       (isatty(STDERR_FILENO) || options->aloud);
    sound_begin(sound, tones, options->aloud);
    if (tones && sound->player[0] == NULL)
        terminal_complain(session->terminal,
                          "no paplay, pw-cat or aplay: the terminal's bell rings instead");
    if (options->aloud && sound->speaker == NULL)
        terminal_complain(session->terminal, "no spd-say or espeak-ng: nothing is said aloud");
}

static int conclude(const struct walker *walker)
{
    int status = STATUS_PASS;
    for (size_t i = 0; i < walker->count; i++)
        status = status_worse(status, walker->stops[i].status);
    return walker->finished ? status : status_worse(status, STATUS_NO_READING);
}

static void end(struct walker *walker)
{
    for (size_t i = 0; i < walker->count; i++)
        json_decref(walker->stops[i].reading);
    client_close(walker->client);
    json_decref(walker->answer);
    free(walker->stops);
    free(walker->screen);
}

static void finish_screen(struct walker *walker)
{
    const struct options *const options = walker->session->options;
    keyboard_end(&walker->keyboard);
    if (walker->live)
        frame_close(&walker->terminal, "");
    if (!options->json && !options->csv)
        walker_print_summary(walker, stdout);
    fflush(stdout);
    if (!walker->finished && !options->quiet)
        terminal_complain(&walker->terminal,
                          "the walk was left; gradus walk %s goes on where it was",
                          walker->session->operands[0]);
}

static int run_walk(const struct session *session)
{
    const struct options *const options = session->options;
    struct walker walker = { .session = session, .terminal = *session->terminal };
    struct fault fault = { 0 };
    if (!begin(&walker, &fault)) {
        if (fault.reason[0] != '\0') /* else it has been said */
            fault_explain(&fault, session->operands[0], session->terminal);
        end(&walker);
        return fault.status;
    }
    walker.live = frame_possible() && !options->plain && !options->json && !options->csv;
    walker_sound(&walker.sound, session);
    keyboard_begin(&walker.keyboard, walker.live);
    client_also(walker.client, walker.keyboard.descriptor);
    if (options->csv)
        csv_header(stdout, reading_csv_columns);
    if (walker.live)
        frame_open();
    if (field_true(walker.answer, "resumed"))
        say(&walker, false, "Going on where this walk was left.");
    say_next(&walker, "");
    const bool well = follow(&walker, &fault);
    finish_screen(&walker);
    if (!well)
        fault_explain(&fault, session->operands[0], session->terminal);
    sound_end(&walker.sound);
    const int status = well ? conclude(&walker) : fault.status;
    end(&walker);
    return status;
}

const struct command command_walk = {
    .name = "walk",
    .arguments = "SHEET",
    .summary = "measure the places of a board by hand, one after the other",
    .usage =
        "Says where the probe goes next, waits until it touches something that holds still, takes\n"
        "the reading, judges it, and goes on once the probe is lifted. What changes without a "
        "lift\n"
        "has slipped and is no reading; hum is none either. A place at zero volts is told from "
        "the\n"
        "air by the hum that is missing there; where there is none, Enter says that the probe is "
        "on.\n"
        "A failing value that is another place's of the sheet is not kept before it came twice.\n"
        "Keys: Enter the probe is on the place (or, at first, in the air), b back, a again, s "
        "skip,\n"
        "n note, q or Ctrl-C leave. A walk that was left goes on where it was, unless --anew, and\n"
        "for the job it was begun for; another job or serial number is another board: --anew.\n"
        "With --plain, or without a terminal, it talks in lines, and keys are lines, too. Tones\n"
        "differ for pass, fail and unsure; --quiet leaves them out, --aloud speaks.\n",
    .options =
        OPTION_PLAIN | OPTION_ALOUD | OPTION_ANEW | OPTION_JOB | OPTION_SERIAL | OPTION_STAGE,
    .least = 1,
    .most = 1,
    .run = run_walk,
};
