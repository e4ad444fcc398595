/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Who may call what, and the note in the log of what was done by whom. */
#include "calls.h"
#include "daemon/basics/log.h"
#include "service.h"

#include <stdlib.h>

static void refuse(struct service *service, struct rpc_call *call, const struct rpc_method *method)
{
    const struct session *session = rpc_call_peer(call);
    struct failure failure = { 0 };
    char expected[96];
    snprintf(expected, sizeof expected, "the role %s", role_word(method->role));
    failure_set(&failure, FAILURE_NOT_ALLOWED, method->name, expected, "%s has the role %s",
                session->who.name, role_word(session->who.role));
    call_refuse(service->loop, call, &failure);
}

static void note(const struct rpc_call *call, const struct rpc_method *method)
{
    const struct session *session = rpc_call_peer(call);
    char *params = json_dumps(rpc_call_params(call), JSON_COMPACT | JSON_ENSURE_ASCII);
    log_line(LOG_PRIORITY_NOTICE, "%s %.300s by %s", method->name, params != NULL ? params : "",
             session->who.name);
    free(params);
}

bool call_admit(void *context, struct rpc_call *call, const struct rpc_method *method)
{
    const struct session *session = rpc_call_peer(call);
    if (!role_may(session->who.role, method->role)) {
        refuse(context, call, method);
        return false;
    }
    if (role_is_logged(method->role))
        note(call, method);
    return true;
}
