/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding the fault of a board: the daemon says where to probe next, a person holds the probe. */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/memory.h"
#include "tools/gradus/basics/status.h"
#include "walker.h"

#include "core/basics/notation.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A search in hand. */
struct search {
    const struct session *session;
    struct client *client;
    json_t *outcomes;      /* point: good, bad or unsure */
    json_t *job;           /* that the readings belong to; borrowed; NULL: none */
    struct message answer; /* the latest finding */
    struct fault fault;
    json_int_t walk; /* its subscription; 0: not begun */
    struct keyboard keyboard;
    struct sound sound;
    bool left;
};

#define KEYS "Enter measures at once; g good, b bad, s skip, q end"

static const json_t *finding(const struct search *search)
{
    return json_object_get(search->answer.json, "result");
}

static bool is_state(const struct search *search, const char *state)
{
    return strcmp(field_text_or_empty(finding(search), "state"), state) == 0;
}

static bool talks(const struct search *search)
{
    return !search->session->options->json;
}

/* client_call(); what is typed meanwhile waits. */
static bool call(struct search *search, const char *method, json_t *params, double within_ms,
                 struct message *answer, struct fault *fault)
{
    client_also(search->client, -1);
    const bool answered = client_call(search->client, method, params, within_ms, answer, fault);
    client_also(search->client, search->keyboard.descriptor);
    return answered;
}

/* Has the daemon look at what is known so far. */
static bool look(struct search *search)
{
    json_t *const params = json_pack("{s:s, s:O}", "sheet", search->session->operands[0],
                                     "outcomes", search->outcomes);
    message_clear(&search->answer);
    return call(search, "diagnose", params, ASK_PLAIN_MS, &search->answer, &search->fault);
}

/* Takes "POINT=bad" and the like from the command line. */
static bool note_operand(struct search *search, const char *operand)
{
    const char *const sign = strrchr(operand, '=');
    char name[256];
    if (sign == NULL || (size_t)(sign - operand) >= sizeof name) {
        fault_set(&search->fault, STATUS_USAGE, "usage", "\"%s\" is not understood", operand);
        snprintf(search->fault.expected, sizeof search->fault.expected,
                 "POINT=good, POINT=bad or POINT=unsure");
        return false;
    }
    snprintf(name, sizeof name, "%.*s", (int)(sign - operand), operand);
    json_object_set_new(search->outcomes, name, json_string(sign + 1));
    return true;
}

static void print_place(struct search *search)
{
    const json_t *const next = json_object_get(finding(search), "next");
    const struct terminal *const terminal = search->session->terminal;
    const char *const caution = field_text(next, "caution");
    const char *const picture = field_text(next, "picture");
    terminal_print(terminal, stdout, "\nNext: %s (%s, the output of %s)\n",
                   field_text_or_empty(next, "place"), field_text_or_empty(next, "point"),
                   field_text_or_empty(next, "block"));
    if (caution != NULL)
        terminal_print(terminal, stdout, "  caution: %s\n", caution);
    if (picture != NULL)
        terminal_print(terminal, stdout, "  picture: %s\n", picture);
    terminal_print(terminal, stdout,
                   "  It tells most: bad with a probability of %.0f %%; %zu blocks are left.\n",
                   100 * field_number(next, "probability_bad"),
                   json_array_size(json_object_get(finding(search), "suspects")));
    terminal_print(terminal, stdout, "  Touch it and hold still. " KEYS ".\n");
    char text[160];
    snprintf(text, sizeof text, "Next: %.100s", field_text_or_empty(next, "place"));
    sound_say(&search->sound, text);
}

/* What a verdict says of an output; what is within the uncertainty of a limit says nothing. */
static const char *outcome_of(const char *verdict)
{
    if (strcmp(verdict, "pass") == 0)
        return "good";
    return strcmp(verdict, "fail") == 0 ? "bad" : "unsure";
}

static void print_reading(const struct search *search, const json_t *reading, const char *outcome)
{
    char value[NOTATION_SIZE];
    notation_result(value, sizeof value, field_number(reading, "value"),
                    field_number(reading, "uncertainty"), search->session->options->digits,
                    field_text_or_empty(reading, "unit"));
    terminal_print(search->session->terminal, stdout, "  %s  %s: %s\n", value,
                   field_text_or_empty(reading, "verdict"),
                   strcmp(outcome, "unsure") == 0
                       ? "within the uncertainty of a limit, it tells nothing"
                       : outcome);
}

/* An outcome that is known, or the reason why there is none. NULL: the place is asked for again. */
static const char *judge_reading(struct search *search, const char *point, const json_t *reading)
{
    const char *const outcome = outcome_of(field_text_or_empty(reading, "verdict"));
    print_reading(search, reading, outcome);
    reading_warnings(search->session, point, reading);
    sound_play(&search->sound, strcmp(outcome, "good") == 0  ? TONE_PASS
                               : strcmp(outcome, "bad") == 0 ? TONE_FAIL
                                                             : TONE_UNSURE);
    return outcome;
}

/* Takes a reading of the point at once, by Enter. NULL when there is none, which is told. */
static const char *measure(struct search *search, const char *point)
{
    const double deadline = search->session->options->deadline_ms;
    struct message answer = { 0 };
    struct fault fault = { 0 };
    const char *outcome = NULL;
    json_t *const params =
        json_pack("{s:s, s:o}", "point", point, "deadline_ms", ask_number(deadline));
    if (search->job != NULL)
        json_object_set(params, "job", search->job);
    if (call(search, "measure", params, deadline + ASK_GRACE_MS, &answer, &fault) &&
        reading_check(json_object_get(answer.json, "result"), &fault))
        outcome = judge_reading(search, point, json_object_get(answer.json, "result"));
    else
        fault_explain(&fault, point, search->session->terminal);
    message_clear(&answer);
    return outcome;
}

/* Begins the walk in which the hand is followed. */
static bool begin_walk(struct search *search)
{
    struct message answer = { 0 };
    json_t *const params = json_pack("{s:s, s:b}", "sheet", search->session->operands[0], "led", 1);
    if (search->job != NULL)
        json_object_set(params, "job", search->job);
    const bool begun = call(search, "walk.start", params, ASK_PLAIN_MS, &answer, &search->fault);
    search->walk =
        json_integer_value(json_object_get(json_object_get(answer.json, "result"), "subscription"));
    message_clear(&answer);
    if (!begun)
        return false;
    walker_sound(&search->sound, search->session);
    keyboard_begin(&search->keyboard, true);
    client_also(search->client, search->keyboard.descriptor);
    return true;
}

/* Has the walk wait for the probe at the place that is next. */
static bool go(struct search *search, const char *point)
{
    return client_send(search->client, "walk.go",
                       json_pack("{s:I, s:s}", "subscription", search->walk, "point", point),
                       &search->fault) != 0;
}

/* What the walk took at the place. NULL: nothing that counts, and the place is asked for again. */
static const char *on_outcome(struct search *search, const char *point, const json_t *told)
{
    const json_t *const reading = json_object_get(told, "reading");
    const json_t *const error = json_object_get(told, "error");
    struct fault fault = { 0 };
    if (strcmp(field_text_or_empty(reading != NULL ? reading : error, "point"), point) != 0 &&
        reading != NULL)
        return NULL;
    if (reading != NULL && reading_check(reading, &fault))
        return judge_reading(search, point, reading);
    if (error != NULL)
        fault_from_error(&fault, error);
    fault_explain(&fault, point, search->session->terminal);
    sound_play(&search->sound, TONE_UNSURE);
    go(search, point);
    return NULL;
}

/* What the probe does, in a line where a word is needed. */
static void on_probe(const struct search *search, const char *probe)
{
    static const char *const told[] = { "lift", "slipped", "unsure" };
    for (size_t i = 0; i < sizeof told / sizeof told[0]; i++)
        if (strcmp(told[i], probe) == 0)
            terminal_print(search->session->terminal, stdout, "  %s.\n", walk_advice(probe));
}

static const char *on_told(struct search *search, const char *point, const json_t *told)
{
    const char *const what = field_text_or_empty(told, "what");
    struct fault fault = { 0 };
    if (json_integer_value(json_object_get(told, "subscription")) != search->walk)
        return NULL;
    if (strcmp(what, "outcome") == 0)
        return on_outcome(search, point, told);
    if (strcmp(what, "probe") == 0) {
        on_probe(search, field_text_or_empty(told, "probe"));
    } else if (strcmp(what, "elsewhere") == 0) {
        terminal_print(search->session->terminal, stdout,
                       "  That is what another place should show. Not kept: touch %s again.\n",
                       point);
        sound_play(&search->sound, TONE_UNSURE);
    } else if (strcmp(what, "away") == 0) {
        fault_from_error(&fault, json_object_get(told, "error"));
        fault_explain(&fault, point, search->session->terminal);
    } else if (strcmp(what, "finished") == 0) {
        search->left = true;
        terminal_print(search->session->terminal, stdout, "  %s\n",
                       field_text_or_empty(told, "why"));
    }
    return NULL;
}

static const char *on_key(struct search *search, const char *point, enum pressed pressed)
{
    switch (pressed) {
    case PRESSED_ON:
        return measure(search, point);
    case PRESSED_GOOD:
        return "good";
    case PRESSED_BACK: /* its letter is that of "bad" */
        return "bad";
    case PRESSED_SKIP:
        return "unsure";
    case PRESSED_LEAVE:
        search->left = true;
        break;
    default:
        terminal_print(search->session->terminal, stdout, "  " KEYS "\n");
        break;
    }
    return NULL;
}

/* Waits for what comes first: a key, or word of the walk. */
static const char *wait_for(struct search *search, const char *point)
{
    struct message message = { 0 };
    const char *outcome = NULL;
    fflush(stdout);
    const enum client_event event =
        client_receive(search->client, INFINITY, &message, &search->fault);
    if (event == CLIENT_MESSAGE && json_object_get(message.json, "method") != NULL)
        outcome = on_told(search, point, json_object_get(message.json, "params"));
    message_clear(&message);
    if (event == CLIENT_KEYS && !keyboard_read(&search->keyboard)) {
        client_also(search->client, -1);
        search->left = true;
    }
    search->left = search->left || event == CLIENT_INTERRUPTED || event == CLIENT_GONE;
    return outcome;
}

/* One place: false when the person ends the search, or the daemon goes. */
static bool on_place(struct search *search)
{
    char *const point = memory_text(field_text_or_empty(finding(search), "next.point"));
    const char *outcome = NULL;
    print_place(search);
    bool good = (search->walk != 0 || begin_walk(search)) && go(search, point);
    while (good && outcome == NULL) {
        const enum pressed pressed = keyboard_next(&search->keyboard);
        if (pressed != PRESSED_NOTHING)
            outcome = on_key(search, point, pressed);
        else if (search->left)
            good = false;
        else
            outcome = wait_for(search, point);
        good = good && !(search->left && pressed == PRESSED_LEAVE);
    }
    if (outcome != NULL)
        json_object_set_new(search->outcomes, point, json_string(outcome));
    free(point);
    return outcome != NULL;
}

static void print_suspects(const struct search *search)
{
    const json_t *const suspects = json_object_get(finding(search), "suspects");
    size_t i;
    const json_t *suspect;
    json_array_foreach(suspects, i, suspect) terminal_print(
        search->session->terminal, stdout, "  %-24s %5.1f %%\n",
        field_text_or_empty(suspect, "block"), 100 * field_number(suspect, "probability"));
}

/* What speaks for it: all that was measured. */
static void print_evidence(const struct search *search)
{
    const char *name;
    json_t *outcome;
    fputs("What speaks for it:", stdout);
    const char *between = " ";
    json_object_foreach(search->outcomes, name, outcome)
    {
        terminal_print(search->session->terminal, stdout, "%s%s %s", between, name,
                       json_string_value(outcome));
        between = ", ";
    }
    fputs(".\n", stdout);
}

static int conclude(const struct search *search)
{
    const struct terminal *const terminal = search->session->terminal;
    const json_t *const result = finding(search);
    const bool found = is_state(search, "found"), narrowed = is_state(search, "narrowed down");
    if (!talks(search))
        ask_print_member(&search->answer, "result");
    else if (is_state(search, "contradiction"))
        terminal_print(
            terminal, stdout,
            "\nThis does not go together: %s is bad, and all that feeds it was good.\nA "
            "fault that comes and goes, a reading of another place, or a connection that "
            "the sheet lacks.\n",
            field_text_or_empty(result, "contradicted.point"));
    else if (is_state(search, "nothing found"))
        fputs("\nNothing found: all outputs that were measured are good.\n", stdout);
    else if (found)
        terminal_print(
            terminal, stdout,
            "\nSuspect: %s. No other block is left that can explain what was found.\n",
            field_text_or_empty(json_array_get(json_object_get(result, "suspects"), 0), "block"));
    else
        fputs(narrowed ? "\nOne of these, which no point that is left tells apart:\n"
                       : "\nNot finished. What may be faulty:\n",
              stdout);
    if (talks(search) && (narrowed || is_state(search, "go on")))
        print_suspects(search);
    if (talks(search) && json_object_size(search->outcomes) > 0)
        print_evidence(search);
    return found || narrowed ? STATUS_PASS : STATUS_UNDECIDED;
}

static int searching(struct search *search)
{
    bool good = true;
    for (int i = 1; good && i < search->session->operand_count; i++)
        good = note_operand(search, search->session->operands[i]);
    good = good && look(search);
    while (good && talks(search) && is_state(search, "go on") && on_place(search))
        good = look(search);
    keyboard_end(&search->keyboard);
    sound_end(&search->sound);
    if (good && search->fault.status == STATUS_PASS)
        return conclude(search);
    fault_explain(&search->fault, search->session->operands[0], search->session->terminal);
    return search->fault.status;
}

static int run_diagnose(const struct session *session)
{
    struct search search = { .session = session,
                             .outcomes = json_object(),
                             .keyboard = { .descriptor = -1 } };
    json_t *const params = json_object();
    int status = STATUS_NO_READING;
    if (!job_option(session, params)) {
        json_decref(params);
        json_decref(search.outcomes);
        return STATUS_USAGE;
    }
    search.job = json_object_get(params, "job");
    search.client = client_open(session->options, &search.fault);
    if (search.client != NULL) {
        status = searching(&search);
    } else {
        fault_explain(&search.fault, NULL, session->terminal);
        status = search.fault.status;
    }
    message_clear(&search.answer);
    client_close(search.client);
    json_decref(search.outcomes);
    json_decref(params);
    return status;
}

const struct command command_diagnose = {
    .name = "diagnose",
    .arguments = "SHEET [POINT=good|bad|unsure]...",
    .summary = "find the faulty block of a board, point by point",
    .usage =
        "The sheet says what feeds what (its blocks, in the settings). Names the point whose\n"
        "outcome is least certain for what it costs to measure there, takes its reading when the\n"
        "probe touches it and holds still, as walk does, and says where it goes next until one\n"
        "block is left, or blocks that no point tells apart. Enter measures at once; g and b say\n"
        "without a reading that it is good or bad, s leaves it out. What is known already stands "
        "behind the sheet, as in out_12v=bad. A reading\n"
        "within its uncertainty of a limit clears nothing and blames nothing. With --json it\n"
        "asks nobody: what the outcomes given come to is printed, and which point is next.\n"
        "Exit status 0 when blocks are named, 4 when not.\n",
    .options = OPTION_DEADLINE | OPTION_ALOUD | OPTION_JOB | OPTION_SERIAL | OPTION_STAGE,
    .least = 1,
    .most = -1,
    .run = run_diagnose,
};
