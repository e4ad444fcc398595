/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fault.h"

#include "core/basics/failure.h"
#include "tools/gradus/basics/field.h"
#include "tools/gradus/basics/status.h"

#include <stdarg.h>
#include <string.h>

/* Error codes of the JSON-RPC 2.0 specification, section 5.1. */
enum { RPC_METHOD_NOT_FOUND = -32601, RPC_INVALID_PARAMS = -32602 };

void fault_set(struct fault *fault, int status, const char *reason, const char *format, ...)
{
    *fault = (struct fault) { .status = status };
    snprintf(fault->reason, sizeof fault->reason, "%s", reason);
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(fault->what, sizeof fault->what, format, arguments);
    va_end(arguments);
}

static int status_of_error(const char *reason, json_int_t code)
{
    const enum failure_code failure = failure_from_reason(reason);
    if (failure != FAILURE_NONE)
        return failure_exit_status(failure);
    const bool usage = code == RPC_METHOD_NOT_FOUND || code == RPC_INVALID_PARAMS;
    return usage ? STATUS_USAGE : STATUS_NO_READING;
}

static void copy(char *to, size_t size, const char *from)
{
    snprintf(to, size, "%s", from == NULL ? "" : from);
}

void fault_from_error(struct fault *fault, const json_t *error)
{
    const char *const message = field_text(error, "message");
    const char *const stated = field_text(error, "data.reason");
    const char *const reason = stated != NULL ? stated : message;
    *fault = (struct fault) { 0 };
    copy(fault->reason, sizeof fault->reason, reason != NULL ? reason : "error without a reason");
    copy(fault->where, sizeof fault->where, field_text(error, "data.where"));
    copy(fault->what, sizeof fault->what, field_text(error, "data.what"));
    copy(fault->expected, sizeof fault->expected, field_text(error, "data.expected"));
    fault->status =
        status_of_error(fault->reason, json_integer_value(json_object_get(error, "code")));
}

char *fault_detail(const struct fault *fault, char *text, size_t size)
{
    const char *const comma = fault->what[0] != '\0' && fault->expected[0] != '\0' ? ", " : "";
    snprintf(text, size, "%s%s%s%s%s%s%s", fault->what, comma,
             fault->expected[0] != '\0' ? "expected " : "", fault->expected,
             fault->where[0] != '\0' ? " (" : "", fault->where, fault->where[0] != '\0' ? ")" : "");
    return text;
}

void fault_explain(const struct fault *fault, const char *subject, const struct terminal *terminal)
{
    char detail[1024];
    fault_detail(fault, detail, sizeof detail);
    terminal_complain(terminal, "%s%s%s%s%s", subject == NULL ? "" : subject,
                      subject == NULL ? "" : ": ", fault->reason,
                      detail[0] == '\0' || detail[0] == ' ' ? "" : ": ", detail);
}
