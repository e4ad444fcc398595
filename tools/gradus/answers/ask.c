/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "ask.h"

#include "tools/gradus/basics/status.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

json_t *ask_number(double number)
{
    const bool whole = number == floor(number) && fabs(number) < 1e15;
    return whole ? json_integer((json_int_t)number) : json_real(number);
}

void ask_print_member(const struct message *message, const char *member)
{
    size_t length = 0;
    const char *const text = message_span(message->text, strlen(message->text), member, &length);
    if (text != NULL)
        fwrite(text, 1, length, stdout);
    fputc('\n', stdout);
}

static void print_text_member(const char *name, const char *text, const char *before)
{
    json_t *const value = json_string_nocheck(text);
    char *const encoded = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT | JSON_ENSURE_ASCII);
    printf("%s\"%s\":%s", before, name, encoded == NULL ? "\"\"" : encoded);
    free(encoded);
    json_decref(value);
}

/* An error that the command found itself has the shape of the daemon's, and no code. */
static void print_own_error(const struct fault *fault)
{
    print_text_member("message", fault->reason, "{");
    print_text_member("reason", fault->reason, ",\"data\":{");
    print_text_member("what", fault->what, ",");
    fputs("}}", stdout);
}

void ask_print_error(const char *object, size_t length, const char *point,
                     const struct fault *fault)
{
    size_t error_length = 0;
    const char *const text =
        object == NULL ? NULL : message_span(object, length, "error", &error_length);
    fputc('{', stdout);
    if (point != NULL) {
        print_text_member("point", point, "");
        fputc(',', stdout);
    }
    fputs("\"error\":", stdout);
    if (text != NULL)
        fwrite(text, 1, error_length, stdout);
    else
        print_own_error(fault);
    fputs("}\n", stdout);
}

void ask_senseless(struct fault *fault, const char *expected)
{
    fault_set(fault, STATUS_NO_READING, "unexpected answer from the daemon", "%s",
              "something is missing in it");
    snprintf(fault->expected, sizeof fault->expected, "%s", expected);
}

static int show_failure(const struct session *session, const char *subject,
                        const struct message *answer, const struct fault *fault)
{
    if (session->options->json) {
        const size_t length = answer->text == NULL ? 0 : strlen(answer->text);
        ask_print_error(answer->text, length, NULL, fault);
    }
    fault_explain(fault, subject, session->terminal);
    return fault->status;
}

static int show_result(const struct session *session, const struct message *answer, bool judged,
                       ask_show *show)
{
    if (session->options->json)
        ask_print_member(answer, "result");
    if (session->options->json && !judged)
        return STATUS_PASS;
    return show(session, json_object_get(answer->json, "result"));
}

static int ask_and_show(const struct session *session, const char *subject, const char *method,
                        json_t *params, double within_ms, bool judged, ask_show *show)
{
    struct fault fault = { 0 };
    struct message answer = { 0 };
    struct client *const client = client_open(session->options, &fault);
    if (client == NULL) {
        json_decref(params);
        return show_failure(session, subject, &answer, &fault);
    }
    const double limit = within_ms + ASK_GRACE_MS;
    const int status = client_call(client, method, params, limit, &answer, &fault)
                           ? show_result(session, &answer, judged, show)
                           : show_failure(session, subject, &answer, &fault);
    message_clear(&answer);
    client_close(client);
    return status;
}

int ask(const struct session *session, const char *subject, const char *method, json_t *params,
        double within_ms, ask_show *show)
{
    return ask_and_show(session, subject, method, params, within_ms, false, show);
}

int ask_judged(const struct session *session, const char *subject, const char *method,
               json_t *params, double within_ms, ask_show *show)
{
    return ask_and_show(session, subject, method, params, within_ms, true, show);
}
