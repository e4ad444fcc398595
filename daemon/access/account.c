/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "account.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What is over a quota may be asked for again after so long; no more than a good guess. */
enum { RETRY_MS = 1000 };

static struct account *find(const struct accounts *accounts, const char *name)
{
    struct account *account;
    LIST_FOREACH(account, &accounts->list, entry)
    if (strcmp(account->name, name) == 0)
        return account;
    return NULL;
}

/* One second's worth is the most that is saved up. */
static double most_credit(const struct account *account)
{
    return account->accounts->quotas.loop_ms * MILLISECOND_NS;
}

struct account *account_join(struct accounts *accounts, const char *name, struct moment now)
{
    struct account *account = find(accounts, name);
    if (account == NULL) {
        account = calloc(1, sizeof *account);
        if (account == NULL)
            return NULL;
        account->accounts = accounts;
        account->number = ++accounts->last;
        snprintf(account->name, sizeof account->name, "%s", name);
        account->credit = (struct duration) { (int64_t)most_credit(account) };
        account->credited = now;
        LIST_INSERT_HEAD(&accounts->list, account, entry);
    }
    account->connections++;
    return account;
}

void account_leave(struct account *account)
{
    if (account == NULL || --account->connections > 0)
        return;
    LIST_REMOVE(account, entry);
    free(account);
}

bool account_is_crowded(const struct account *account)
{
    return account->connections > (size_t)account->accounts->quotas.connections;
}

/* Counts one more of something, of which `most` are allowed. */
static bool take(const struct account *account, size_t *count, int most, const char *what,
                 struct failure *failure)
{
    if (*count < (size_t)most) {
        ++*count;
        return true;
    }
    failure_set(failure, FAILURE_OVERLOADED, NULL, "some of them answered first",
                "%s has %zu %s, as many as server.quotas allows", account->name, *count, what);
    failure_retry(failure, RETRY_MS);
    return false;
}

bool account_take_job(struct account *account, struct failure *failure)
{
    return take(account, &account->jobs, account->accounts->quotas.jobs, "measurements open",
                failure);
}

bool account_take_question(struct account *account, struct failure *failure)
{
    return take(account, &account->questions, account->accounts->quotas.questions,
                "questions to the store open", failure);
}

/* Nanoseconds that are left now. */
static double credit_at(const struct account *account, struct moment now)
{
    double passed_s = duration_seconds(moment_since(now, account->credited));
    double earned = passed_s * account->accounts->quotas.loop_ms * MILLISECOND_NS;
    return fmin(most_credit(account), (double)account->credit.ns + earned);
}

void account_worked(struct account *account, struct duration worked, struct moment now)
{
    account->credit = (struct duration) { (int64_t)credit_at(account, now) - worked.ns };
    account->credited = now;
}

struct duration account_pause(const struct account *account, struct moment now)
{
    double credit = credit_at(account, now);
    if (credit >= 0)
        return (struct duration) { 0 };
    return duration_of_seconds(-credit / MILLISECOND_NS / account->accounts->quotas.loop_ms);
}
