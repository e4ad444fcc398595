/* SPDX-License-Identifier: GPL-3.0-or-later */
/* gradus burnin: what is done with burn-ins, a row for each. */
#include "burnin_priv.h"
#include "burnin_report.h"
#include "tools/gradus/answers/ask.h"
#include "tools/gradus/answers/job_option.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <string.h>

/* What a second word does. */
struct deed {
    const char *name;
    const char *arguments;
    uint64_t options; /* that go with it besides the global ones */
    int least;        /* operands after it */
    int most;
    int (*run)(const struct session *session);
};

static int show_run_name(const struct session *session, json_t *result)
{
    terminal_print(session->terminal, stdout, "%s\n", field_text_or_empty(result, "run"));
    return STATUS_PASS;
}

static int start(const struct session *session)
{
    const char *const plan = session->operands[1];
    json_t *const params = json_pack("{s:s}", "plan", plan);
    if (job_option(session, params) && job_serials(session, params))
        return ask(session, plan, "burnin.start", params, ASK_PLAIN_MS, show_run_name);
    json_decref(params);
    return STATUS_USAGE;
}

static int stop(const struct session *session)
{
    const char *const name = session->operands[1];
    return ask(session, name, "burnin.stop", json_pack("{s:s}", "run", name), ASK_PLAIN_MS,
               show_run_name);
}

static int go_on(const struct session *session)
{
    const char *const name = session->operands[1];
    return ask(session, name, "burnin.continue", json_pack("{s:s}", "run", name), ASK_PLAIN_MS,
               show_run_name);
}

static const struct deed deeds[] = {
    { "start", " PLAN [--job NAME [--serials FILE]]", OPTION_JOB | OPTION_SERIALS, 1, 1, start },
    { "stop", " RUN", 0, 1, 1, stop },
    { "continue", " RUN", 0, 1, 1, go_on },
    { "status", " [RUN] [--watch [--every MS]]", OPTION_WATCH | OPTION_EVERY, 0, 1, burnin_status },
    { "report", " RUN [--html FILE] [--pdf FILE] [--csv FILE] [--json FILE]",
      OPTION_HTML | OPTION_PDF, 1, 1, burnin_report },
};

enum { DEEDS = sizeof deeds / sizeof deeds[0] };

static int refuse(const struct session *session)
{
    char expected[400] = "";
    for (size_t i = 0; i < DEEDS; i++) {
        const size_t length = strlen(expected);
        snprintf(expected + length, sizeof expected - length, "%sburnin %s%s", i > 0 ? " | " : "",
                 deeds[i].name, deeds[i].arguments);
    }
    terminal_complain(session->terminal, "expected %s", expected);
    return STATUS_USAGE;
}

static int run_burnin(const struct session *session)
{
    const uint64_t given = session->options->given & ~OPTIONS_GLOBAL;
    const int operands = session->operand_count - 1;
    for (size_t i = 0; i < DEEDS; i++) {
        const struct deed *const deed = &deeds[i];
        if (strcmp(session->operands[0], deed->name) == 0 && operands >= deed->least &&
            operands <= deed->most && (given & ~deed->options) == 0)
            return deed->run(session);
    }
    return refuse(session);
}

const struct command command_burnin = {
    .name = "burnin",
    .arguments = "start PLAN | stop RUN | continue RUN | status [RUN] | report RUN",
    .summary = "begin, stop, watch or report a burn-in",
    .usage =
        "start begins a run of a plan of the settings and prints the run's name; --job says whose\n"
        "units are in it, --serials their numbers. stop ends a\n"
        "run (or that of a plan) before its time. continue runs the command of a phase again\n"
        "that failed and holds the run, which goes on if it is done. status shows for each run how "
        "far it is,\n"
        "the worst margin of each unit to a limit, what tripped and when, which points drift\n"
        "and when they will reach a limit, the next round and the time left; its exit status\n"
        "is 1 when anything has tripped. On a terminal it keeps to one screen and says what\n"
        "does not fit. With --watch it is drawn anew each second (--every) until SIGINT, also\n"
        "while the daemon is restarted; into a pipe one status goes after the other.\n"
        "report tells how a run went, or how it stands; that of a plan is its newest. It is a\n"
        "short text, or goes where --html FILE, --pdf FILE, --csv FILE, --json FILE say, any of\n"
        "them together; - is standard output. HTML and PDF are for people, JSON holds the same\n"
        "for programs, CSV every reading of the run. A file that is there is replaced once the\n"
        "new one is whole. The exit status is 0 when all is within limits, 1 when something failed "
        "or\n"
        "tripped, 3 when a point has no reading, 4 when one is within the uncertainty of a\n"
        "limit; of several that which comes first in 3, 1, 4, 0.\n"
        "This is no safety device: nothing here may be what keeps people or equipment from\n"
        "harm.\n",
    .options = OPTION_WATCH | OPTION_EVERY | OPTION_HTML | OPTION_PDF | OPTION_JOB | OPTION_SERIALS,
    .files = OPTION_JSON | OPTION_CSV,
    .filing = "report",
    .least = 1,
    .most = 2,
    .run = run_burnin,
};
