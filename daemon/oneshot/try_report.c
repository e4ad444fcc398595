/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "try_report.h"

#include "drivers/basics/printable.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SHOWN_COMMAND = 96, SHOWN_REPLY = 96 };

void report_free(struct report *report)
{
    free(report->steps);
    free(report->problems);
    *report = (struct report) { 0 };
}

/* Ends a run of like exchanges, so that something else can be printed. */
static void end_repetition(struct report *report)
{
    if (report->repeated > 0) {
        printf("               and %zu more time%s the same\n", report->repeated,
               report->repeated == 1 ? "" : "s");
    }
    report->repeated = 0;
    report->last[0] = '\0';
}

bool report_begin(struct report *report, const char *format, ...)
{
    struct report_step *const steps =
        reallocarray(report->steps, report->step_count + 1, sizeof *steps);
    if (steps == NULL)
        return false;
    struct report_step step = { 0 };
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(step.title, sizeof step.title, format, arguments);
    va_end(arguments);
    end_repetition(report);
    report->steps = steps;
    report->steps[report->step_count++] = step;
    printf("\n%s\n", step.title);
    return true;
}

static struct report_step *current(struct report *report)
{
    return report->step_count > 0 ? &report->steps[report->step_count - 1] : NULL;
}

void report_outcome(struct report *report, const char *format, ...)
{
    struct report_step *const step = current(report);
    end_repetition(report);
    if (step == NULL)
        return;
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(step->outcome, sizeof step->outcome, format, arguments);
    va_end(arguments);
    printf("  %s\n", step->outcome);
}

/* Where memory is short the problem is still printed and counted, only not listed again. */
static void add_problem(struct report *report, const char *text)
{
    struct report_step *const step = current(report);
    struct report_problem *const problems =
        reallocarray(report->problems, report->problem_count + 1, sizeof *problems);
    end_repetition(report);
    printf("  PROBLEM: %s\n", text);
    if (step == NULL || problems == NULL)
        return;
    struct report_problem *const problem = &problems[report->problem_count++];
    report->problems = problems;
    problem->step = report->step_count - 1;
    snprintf(problem->text, sizeof problem->text, "%s", text);
    step->problems++;
}

void report_problem(struct report *report, const char *format, ...)
{
    char text[REPORT_PROBLEM];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    add_problem(report, text);
}

void report_failure(struct report *report, const struct failure *failure)
{
    char text[REPORT_PROBLEM];
    add_problem(report, failure_text(failure, text, sizeof text));
}

/* A reply too long to be shown whole ends with its length, as a block of samples does. */
static void write_exchange(char text[REPORT_EXCHANGE], const char *command,
                           const struct reply *reply, const struct failure *failure)
{
    char sent[SHOWN_COMMAND];
    char came[SHOWN_REPLY] = "";
    char size[32] = "";
    printable(command, strlen(command), sent, sizeof sent);
    if (reply != NULL)
        printable(reply->bytes, reply->count, came, sizeof came);
    if (reply != NULL && reply->count >= sizeof came)
        snprintf(size, sizeof size, " (%zu bytes)", reply->count);
    snprintf(text, REPORT_EXCHANGE, "%s%s%s%s%s%s", sent, reply == NULL ? "" : "  ->  ", came, size,
             failure == NULL ? "" : "  ->  ", failure == NULL ? "" : failure_reason(failure->code));
}

static void count_exchange(struct report *report, double ms)
{
    struct report_step *const step = current(report);
    report->exchanges++;
    if (step != NULL) {
        step->exchanges++;
        step->slowest_ms = ms > step->slowest_ms ? ms : step->slowest_ms;
    }
}

void report_trace(void *context, const char *command, const struct reply *reply, double ms,
                  const struct failure *failure)
{
    struct report *const report = context;
    char text[REPORT_EXCHANGE];
    write_exchange(text, command, reply, failure);
    count_exchange(report, ms);
    if (strcmp(text, report->last) == 0) {
        report->repeated++;
        return;
    }
    end_repetition(report);
    printf("  %9.1f ms  %s\n", ms, text);
    memcpy(report->last, text, sizeof text);
}

static void print_step(const struct report_step *step)
{
    printf("  %9zu  %9.1f ms  %s%s%s%s\n", step->exchanges, step->slowest_ms, step->title,
           step->outcome[0] != '\0' ? ": " : "", step->outcome,
           step->problems > 0 ? "  PROBLEM" : "");
}

static void print_problems(const struct report *report)
{
    if (report->problem_count > 0)
        printf("\nproblems\n");
    for (size_t i = 0; i < report->problem_count; i++) {
        const struct report_problem *const problem = &report->problems[i];
        printf("  %s: %s\n", report->steps[problem->step].title, problem->text);
    }
}

void report_summary(struct report *report)
{
    end_repetition(report);
    printf("\n  exchanges       slowest  step\n");
    for (size_t i = 0; i < report->step_count; i++)
        print_step(&report->steps[i]);
    print_problems(report);
    printf("\n%zu exchange%s, %zu problem%s\n", report->exchanges,
           report->exchanges == 1 ? "" : "s", report->problem_count,
           report->problem_count == 1 ? "" : "s");
}
