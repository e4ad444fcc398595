/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Saying who one is. */
#include "calls.h"

#include "daemon/access/access.h"
#include "daemon/basics/log.h"
#include "daemon/basics/wall_clock.h"
#include "methods.h"
#include "service.h"

#include <math.h>
#include <string.h>

static void refuse(struct service *service, struct rpc_call *call, const char *expected,
                   const char *what)
{
    struct failure failure = { 0 };
    failure_set(&failure, FAILURE_NOT_ALLOWED, "authenticate", expected, "%s", what);
    call_refuse(service->loop, call, &failure);
}

/* Whether tokens from there are looked at; if not, the call is answered. */
static bool may_try(struct service *service, struct rpc_call *call, struct moment now)
{
    const struct session *session = rpc_call_peer(call);
    char expected[64];
    struct duration wait = guard_wait(&service->access->guard, session->from, now);
    if (wait.ns <= 0)
        return true;
    snprintf(expected, sizeof expected, "a try in %.0f s", ceil(duration_seconds(wait)));
    refuse(service, call, expected, "too many wrong tokens came from this address");
    return false;
}

/* Its connection counts as the token's from now on; false with the failure set when that is too many. */
static bool move_account(struct accounts *accounts, struct session *session, const char *name,
                         struct failure *failure)
{
    if (session->jobs > 0 || session->answers > 0)
        return failure_set(failure, FAILURE_HELD, "authenticate", "the answers first",
                           "what was asked before is not answered yet");
    struct account *account = account_join(accounts, name, monotonic_now());
    if (account == NULL)
        return failure_no_memory(failure, "the account");
    if (account != session->account && account_is_crowded(account)) {
        failure_set(failure, FAILURE_CONNECTIONS, "authenticate", NULL,
                    "%s has as many connections as server.quotas.connections allows", name);
        failure_retry(failure, 1000);
        account_leave(account);
        return false;
    }
    account_leave(session->account);
    session->account = account;
    return true;
}

static bool check_token(struct service *service, struct session *session, const struct token *token,
                        struct failure *failure)
{
    char name[PRINCIPAL_NAME];
    snprintf(name, sizeof name, "token %s", token->name);
    if (!move_account(&service->access->accounts, session, name, failure))
        return false;
    session->who.role = token->role;
    memcpy(session->who.name, name, sizeof name);
    memcpy(session->token, token->digest, sizeof session->token);
    return true;
}

void call_authenticate(void *context, struct rpc_call *call, const struct rpc_value *values)
{
    struct service *service = context;
    struct session *session = rpc_call_peer(call);
    struct moment now = monotonic_now();
    if (!may_try(service, call, now))
        return;
    const struct token *token =
        tokens_find(&service->access->tokens, values[AUTHENTICATE_TOKEN].text, wall_time_now());
    if (token == NULL) {
        if (guard_failed(&service->access->guard, session->from, now))
            log_line(LOG_PRIORITY_WARNING, "a wrong token came from %s", session->address);
        refuse(service, call, "a token that gradus token made",
               "the token is not known, has run out, or was taken back");
        return;
    }
    struct failure failure = { 0 };
    if (!check_token(service, session, token, &failure)) {
        call_refuse(service->loop, call, &failure);
        return;
    }
    struct text *text = loop_text(service->loop);
    text_open(text, '{');
    text_member_string(text, "name", session->who.name);
    text_member_string(text, "role", role_word(session->who.role));
    text_close(text, '}');
    rpc_result(call, text);
}
