/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding the fault of a board: the daemon says where to probe next, a person holds the probe. */
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/answers/reading.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include "core/basics/notation.h"

#include <stdio.h>
#include <string.h>

/* A search in hand. */
struct search {
    const struct session *session;
    struct client *client;
    json_t *outcomes;      /* point: good, bad or unsure */
    json_t *job;           /* that the readings belong to; borrowed; NULL: none */
    struct message answer; /* the latest finding */
    struct fault fault;
};

/* What a person says at the prompt. */
enum word { WORD_MEASURE, WORD_GOOD, WORD_BAD, WORD_SKIP, WORD_END, WORD_OTHER };

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

/* Has the daemon look at what is known so far. */
static bool look(struct search *search)
{
    json_t *const params = json_pack("{s:s, s:O}", "sheet", search->session->operands[0],
                                     "outcomes", search->outcomes);
    message_clear(&search->answer);
    return client_call(search->client, "diagnose", params, ASK_PLAIN_MS, &search->answer,
                       &search->fault);
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

static void print_place(const struct search *search)
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
}

static enum word prompt(void)
{
    static const char letters[] = {
        [WORD_GOOD] = 'g', [WORD_BAD] = 'b', [WORD_SKIP] = 's', [WORD_END] = 'e'
    };
    char line[64];
    fputs("  Enter measures; g good, b bad, s skip, e end: ", stdout);
    fflush(stdout);
    if (fgets(line, sizeof line, stdin) == NULL) {
        fputc('\n', stdout);
        return WORD_END;
    }
    line[strcspn(line, "\r\n")] = '\0';
    if (line[0] == '\0')
        return WORD_MEASURE;
    for (int i = WORD_GOOD; i <= WORD_END; i++)
        if (line[0] == letters[i] && line[1] == '\0')
            return (enum word)i;
    return WORD_OTHER;
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

/* Takes a reading of the point. NULL when there is none, which is told: the place is asked for again. */
static const char *measure(const struct search *search, const char *point)
{
    const double deadline = search->session->options->deadline_ms;
    struct message answer = { 0 };
    struct fault fault = { 0 };
    const char *outcome = NULL;
    json_t *const params =
        json_pack("{s:s, s:o}", "point", point, "deadline_ms", ask_number(deadline));
    if (search->job != NULL)
        json_object_set(params, "job", search->job);
    if (client_call(search->client, "measure", params, deadline + ASK_GRACE_MS, &answer, &fault) &&
        reading_check(json_object_get(answer.json, "result"), &fault)) {
        const json_t *const reading = json_object_get(answer.json, "result");
        outcome = outcome_of(field_text_or_empty(reading, "verdict"));
        print_reading(search, reading, outcome);
        reading_warnings(search->session, point, reading);
    } else {
        fault_explain(&fault, point, search->session->terminal);
    }
    message_clear(&answer);
    return outcome;
}

/* One place: false when the person ends the search. */
static bool take_place(struct search *search)
{
    const char *const point = field_text_or_empty(finding(search), "next.point");
    const char *outcome = NULL;
    print_place(search);
    while (outcome == NULL) {
        switch (prompt()) {
        case WORD_MEASURE:
            outcome = measure(search, point);
            break;
        case WORD_GOOD:
            outcome = "good";
            break;
        case WORD_BAD:
            outcome = "bad";
            break;
        case WORD_SKIP:
            outcome = "unsure";
            break;
        case WORD_END:
            return false;
        case WORD_OTHER:
            break;
        }
    }
    json_object_set_new(search->outcomes, point, json_string(outcome));
    return true;
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
    while (good && talks(search) && is_state(search, "go on") && take_place(search))
        good = look(search);
    if (good)
        return conclude(search);
    fault_explain(&search->fault, search->session->operands[0], search->session->terminal);
    return search->fault.status;
}

static int run_diagnose(const struct session *session)
{
    struct search search = { .session = session, .outcomes = json_object() };
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
        "outcome is least certain for what it costs to measure there, takes its reading when\n"
        "Enter is pressed, and goes on until one block is left, or blocks that no point tells\n"
        "apart. What is known already stands behind the sheet, as in out_12v=bad. A reading\n"
        "within its uncertainty of a limit clears nothing and blames nothing. With --json it\n"
        "asks nobody: what the outcomes given come to is printed, and which point is next.\n"
        "Exit status 0 when blocks are named, 4 when not.\n",
    .options = OPTION_DEADLINE | OPTION_JOB | OPTION_SERIAL | OPTION_STAGE,
    .least = 1,
    .most = -1,
    .run = run_diagnose,
};
